"""Fitted parameters in units that people read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stager.fit.records import Parameter
from stager.units import Measured, format_quantity, readable_unit

KILO = 1000.0
"""Groups are shown in thousands of their SI unit."""

_SPEEDS = ("fade_speed", "peak_speed", "rise_speed")


@dataclass(frozen=True, slots=True)
class Units:
    """SI unit of each parameter by key."""

    known: Mapping[str, str]

    def si(self, one: Parameter) -> str:
        """The SI unit, "" for a pure number."""
        return self.known.get(one.key, one.unit)

    def shown(self, one: Parameter) -> str:
        """The unit for people."""
        return f"k{one.unit}" if one.group else self._unit(one)

    def text(self, one: Parameter, value: float, spread: float) -> str:
        """Value ± standard uncertainty, without unit."""
        if one.group:
            return format_quantity(value / KILO, spread / KILO)
        text = format_quantity(value, spread, self.si(one), written=self._unit(one))
        return " ± ".join(part.strip().removesuffix(self._unit(one)).strip() for part in text.split("±"))

    def span(self, one: Parameter) -> str:
        """The 95 % interval, without unit."""
        return " to ".join(self.text(one, end, one.standard_uncertainty).split(" ± ")[0] for end in one.interval)

    def _unit(self, one: Parameter) -> str:
        return readable_unit(one.prior_value, self.si(one)) if self.si(one) else ""


def name_of(one: Parameter) -> str:
    """A parameter's key in few words: "crush", "feed speed", "rail friction"."""
    *path, last = one.key.split(".")
    place = {"feed": "feed ", "rail_friction": "rail ", "wheel": "wheel ", "supply": "supply "}
    where = place.get(path[-1], "") if path else ""
    stage = f", stage {path[1]}" if len(path) > 1 and path[0] == "stages" else ""
    return f"{where}{last.replace('_', ' ')}{stage}"


def units_of(parameters: Sequence[Parameter], quantities: Mapping[str, Measured]) -> Units:
    """Units from a configuration's quantities; those of other friction laws are known by name."""
    laws = {one.key: "m/s" for one in parameters if one.key.endswith(_SPEEDS)}
    return Units({**laws, **{key: measured.unit for key, measured in quantities.items()}})
