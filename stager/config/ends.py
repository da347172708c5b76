"""Ends between which the plan may choose: two lengths, the smaller one first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from stager.config.kinds import UNIT, Kind, refusal
from stager.units import Measured

_COUNT = 2


@dataclass(frozen=True, slots=True)
class Ends:
    """low and high, exact lengths [m]."""

    low: Measured
    high: Measured


@dataclass(frozen=True)
class _EndsKind:
    """How a pair of ends is read."""

    end = Kind("m", "2 mm", above=0, at_least=1e-6, at_most=1)
    examples = ("2 mm", "6 mm")

    @property
    def shown(self) -> str:
        """An example as it stands in a file."""
        return "[{}]".format(", ".join(f'"{text}"' for text in self.examples))

    def read(self, raw: Any) -> Ends:
        """Raises PydanticCustomError with a hint."""
        if isinstance(raw, Ends):
            return raw
        hint = f"for example {self.shown}"
        if not isinstance(raw, list) or len(raw) != _COUNT:
            raise refusal("must be two lengths, the ends of a range", hint)
        low, high = (self._end(text) for text in raw)
        if low.standard_uncertainty or high.standard_uncertainty:
            raise refusal("is yours to choose, so its ends have no uncertainty", f"leave out ±, {hint}")
        if not low.value < high.value:
            raise refusal(f"must rise from its first end to its second (got {raw[0]} to {raw[1]})", hint)
        return Ends(low, high)

    def _end(self, raw: Any) -> Measured:
        try:
            return self.end.read(raw)
        except PydanticCustomError as error:
            raise refusal(error.message(), f"for example {self.shown}") from error

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        text, count = {"type": "string"}, _COUNT
        return {
            UNIT: "m",
            "type": "array",
            "items": text,
            "minItems": count,
            "maxItems": count,
            "examples": [list(self.examples)],
        }


CrushRange = Annotated[Ends, _EndsKind()]
