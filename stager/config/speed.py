"""Set speeds: "17 m/s", "4000 rpm", or one for each side of a pair, "12:9 m/s"."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from stager.config.kinds import Kind, refusal
from stager.model.arrays import FASTEST, FASTEST_TURNING
from stager.units import Measured, QuantityError, is_turning, written_unit

_HINT = 'write it like "17 m/s", "4000 rpm" or, for the sides of a pair, "12 m/s : 9 m/s"'
_SIDES = 2


@dataclass(frozen=True, slots=True)
class SetSpeed:
    """side_a, side_b: surface speed [m/s] or rate of turning [rad/s], as their units say; side_b None: as side A."""

    side_a: Measured
    side_b: Measured | None = None


@dataclass(frozen=True)
class _SpeedKind:
    """How a set speed is read."""

    surface = Kind("m/s", "17 m/s", at_least=0, at_most=FASTEST)
    turning = Kind("rad/s", "4000 rpm", at_least=0, at_most=FASTEST_TURNING)
    shown = '"17 m/s"'

    def read(self, raw: Any) -> SetSpeed:
        """Raises PydanticCustomError with a hint."""
        if isinstance(raw, SetSpeed):
            return raw
        if isinstance(raw, bool) or not isinstance(raw, str | int | float):
            raise refusal("must be a speed", _HINT)
        if not isinstance(raw, str):
            raise refusal(f"{raw} needs a unit", _HINT)
        parts = raw.split(":")
        if len(parts) > _SIDES:
            raise refusal(f"a stage has two wheels at most (got {raw})", _HINT)
        return SetSpeed(*(self._side(text) for text in _with_units(parts)))

    def _side(self, text: str) -> Measured:
        kind = self.turning if is_turning(_unit(text)) else self.surface
        return kind.read(text.strip())

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "string", "examples": ["17 m/s", "4000 rpm", "12 m/s : 9 m/s"]}


def _with_units(parts: list[str]) -> list[str]:
    """Each part with a unit: "12:9 m/s" has one for both."""
    units = [_unit(part) for part in parts]
    known = next((unit for unit in units if unit), "")
    return [part if unit else f"{part.strip()} {known}".strip() for part, unit in zip(parts, units, strict=True)]


def _unit(text: str) -> str:
    try:
        return written_unit(text)
    except QuantityError as error:
        raise refusal(str(error), _HINT) from error


Speed = Annotated[SetSpeed, _SpeedKind()]
