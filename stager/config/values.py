"""Every quantity of a configuration by its dotted key, with inheritance of [stage] by [[stages]]."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from stager.config.machine import File
from stager.hardware.arrays import Number
from stager.hardware.scenario import Uncertain
from stager.quantity import Measured


def quantities(file: File, raw: Mapping[str, Any]) -> dict[str, Measured]:
    """Quantities by key; one that a stage has from [stage] has that key alone."""
    found: dict[str, Measured] = {}
    for name in File.model_fields:
        value = getattr(file, name)
        if name == "stages":
            for number, stage in enumerate(value):
                own = raw["stages"][number]
                found.update(_walk(stage, f"stages.{number + 1}", own))
        elif name not in ("limits", "goal"):
            found.update(_walk(value, name, None))
    return found


def _walk(value: Any, key: str, own: Any) -> dict[str, Measured]:
    if isinstance(value, Measured):
        return {key: value}
    if isinstance(value, BaseModel):
        found: dict[str, Measured] = {}
        for name in type(value).model_fields:
            if isinstance(own, Mapping) and name not in own:
                continue
            inner = own[name] if isinstance(own, Mapping) else None
            found.update(_walk(getattr(value, name), f"{key}.{name}", inner))
        return found
    if isinstance(value, list):
        found = {}
        for number, item in enumerate(value):
            found.update(_walk(item, f"{key}.{number + 1}", None))
        return found
    return {}


def uncertain(found: Mapping[str, Measured]) -> tuple[Uncertain, ...]:
    """Those with a standard uncertainty."""
    return tuple(
        Uncertain(
            key=key, value=m.value, standard_uncertainty=m.standard_uncertainty,
            low=m.low, high=m.high, rectangular=m.rectangular,
        )
        for key, m in found.items()
        if m.standard_uncertainty > 0
    )  # fmt: skip


class Reader:
    """Reads quantities of one table, by name, as given or as replaced.

    own: what stands in the file itself, where the table is one of [[stages]]; the rest has the keys of [stage].
    """

    def __init__(
        self, table: BaseModel, key: str, values: Mapping[str, Number], own: Any = None, base: str = ""
    ) -> None:
        self.table, self.key, self.values, self.own, self.base = table, key, values, own, base

    def number(self, name: str) -> Number:
        """SI value of a key that is there."""
        return self._replaced(getattr(self.table, name), name)

    def maybe(self, name: str) -> Number | None:
        """SI value, or None where the key was left out."""
        measured = getattr(self.table, name)
        return None if measured is None else self._replaced(measured, name)

    def numbers(self, name: str) -> tuple[float, ...]:
        """SI values of a list."""
        return tuple(item.value for item in getattr(self.table, name))

    def inner(self, name: str) -> Reader | None:
        """Reader of a table within this one."""
        table = getattr(self.table, name)
        if table is None:
            return None
        own = self.own.get(name, {}) if isinstance(self.own, Mapping) else None
        return Reader(table, f"{self.key}.{name}", self.values, own, f"{self.base}.{name}")

    def _replaced(self, measured: Measured, name: str) -> Number:
        inherited = isinstance(self.own, Mapping) and name not in self.own
        return self.values.get(f"{self.base if inherited else self.key}.{name}", measured.value)
