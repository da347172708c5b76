"""Reads the quantities of a table, as given or as replaced."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from stager.config.merge import inherits
from stager.config.speed import SetSpeed
from stager.model.arrays import Number
from stager.units import Measured


class Source:
    """Values in place of the file's, by dotted key, in SI; it remembers which were asked for."""

    def __init__(self, values: Mapping[str, Number]) -> None:
        self.values = values
        self._left = set(values)

    def take(self, key: str, given: Number | None) -> Number | None:
        """The value in place of `given`, or `given`."""
        self._left.discard(key)
        return self.values.get(key, given)

    def check(self) -> None:
        """Raises KeyError where a value was asked for by nobody: it would have no effect."""
        if self._left:
            raise KeyError("no such quantity of the launcher: " + ", ".join(sorted(self._left)))


class Reader:
    """Reads one table by name.

    own: what stands in the file itself, where the table is one of [[stages]]; the rest has the keys of [stage].
    """

    def __init__(self, table: BaseModel, key: str, source: Source, own: Any = None, base: str = "") -> None:
        self.table, self.key, self.source, self.own, self.base = table, key, source, own, base

    def number(self, name: str) -> Number:
        """SI value of a key that is there."""
        found = self.maybe(name)
        if found is None:
            raise KeyError(f"{self.key}.{name}")
        return found

    def maybe(self, name: str) -> Number | None:
        """SI value, or None where the key was left out."""
        measured: Measured | None = getattr(self.table, name)
        return self.source.take(self.place(name), None if measured is None else measured.value)

    def numbers(self, name: str) -> tuple[Any, ...]:
        """SI values of a list."""
        place = self.place(name)
        return tuple(
            self.source.take(f"{place}.{number}", item.value)
            for number, item in enumerate(getattr(self.table, name), start=1)
        )

    def speeds(self, radius: Number) -> tuple[Number | None, Number | None]:
        """Set surface speeds of side A and B [m/s], None where they are not set; radius of the wheel at rest [m]."""
        place, given = self.place("speed"), _speed(self.table)
        sides = (None, None) if given is None else (given.side_a, given.side_b)
        side_a, side_b = (None if side is None else _surface(side, radius) for side in sides)
        return self.source.take(place, side_a), self.source.take(f"{place}_b", side_b)

    def inner(self, name: str) -> Reader | None:
        """Reader of a table within this one."""
        table = getattr(self.table, name)
        if table is None:
            return None
        own = self.own.get(name, {}) if isinstance(self.own, Mapping) else None
        return Reader(table, f"{self.key}.{name}", self.source, own, f"{self.base}.{name}")

    def each(self, name: str) -> list[Reader]:
        """Readers of a list of tables within this one."""
        place = self.place(name)
        return [
            Reader(table, f"{place}.{number}", self.source) for number, table in enumerate(getattr(self.table, name), 1)
        ]

    def place(self, name: str) -> str:
        """Dotted key of a name: that of [stage] where an entry of [[stages]] has it from there."""
        inherited = isinstance(self.own, Mapping) and inherits(self.own, name)
        return f"{self.base if inherited else self.key}.{name}"


def _speed(table: BaseModel) -> SetSpeed | None:
    found: SetSpeed | None = getattr(table, "speed", None)
    return found


def _surface(side: Measured, radius: Number) -> Number:
    return side.value if side.unit == "m/s" else side.value * radius
