"""What a limit is, and its state at an operating point."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

import numpy as np

from stager.constraints.operating_point import OperatingPoint
from stager.model.arrays import Floats, Number

ROUNDING = 1e-6
"""Share of a bound that a value may exceed and still satisfy it: what a throw is computed to [-]."""


class Kind(Enum):
    """What the value of a limit depends on."""

    DESIGN = "design"
    """The parts and their number alone."""
    WHEEL = "wheel"
    """The speed of single wheels."""
    THROW = "throw"
    """One throw."""
    STEADY = "steady"
    """Drives and supply: spin-up, holding, and throwing at a rate."""


class Limit(Protocol):
    """One limit: its value at an operating point and the bound on it.

    Value and bound are None where the limit is not set or does not apply, the value also where something that it
    takes is unknown; shapes are the batch's.
    """

    @property
    def name(self) -> str:
        """Key in configuration and documents."""
        ...

    @property
    def unit(self) -> str:
        """Unit of value and bound."""
        ...

    @property
    def floor(self) -> bool:
        """Whether the bound is the least value, not the greatest."""
        ...

    @property
    def kind(self) -> Kind:
        """What the value depends on."""
        ...

    @property
    def hard(self) -> bool:
        """Whether breaking it can hurt or break something, so that it is kept with a margin for what is unknown."""
        ...

    def value(self, point: OperatingPoint) -> Number | None:
        """Value at the operating point, in `unit`."""
        ...

    def bound(self, point: OperatingPoint) -> Number | None:
        """Bound on it, in `unit`."""
        ...

    def remedy(self, point: OperatingPoint) -> str:
        """The one change that would help most, for an operating point without batch axes."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitResult:
    """A limit at an operating point: value and bound in `unit`.

    slack: margin / bound [-]: > 0 satisfied, 0 active, < 0 broken; remedy: the one change that would help most, empty
    where not asked for; hard: see `Limit`.
    """

    name: str
    unit: str
    value: Floats
    bound: Floats
    slack: Floats
    remedy: str = ""
    hard: bool = False

    @property
    def satisfied(self) -> bool:
        """Whether it is satisfied to `ROUNDING`, without batch axes."""
        return bool(self.slack >= -ROUNDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotJudged:
    """A limit that is set but cannot be judged: its bound, in `unit`, and the key that is missing for it."""

    name: str
    unit: str
    bound: float
    missing: str


def evaluate(limit: Limit, point: OperatingPoint, *, remedies: bool = False) -> LimitResult | None:
    """Evaluate `limit` at `point`; None where it is not set or cannot be judged.

    remedies: also the one change that would help most, for an operating point without batch axes.
    """
    bound = limit.bound(point)
    if bound is None:
        return None
    value = limit.value(point)
    if value is None:
        return None
    values, bounds = np.asarray(value, dtype=np.float64), np.asarray(bound, dtype=np.float64)
    margin = values - bounds if limit.floor else bounds - values
    scale = np.where(bounds == 0.0, 1.0, np.abs(bounds))
    remedy = limit.remedy(point) if remedies else ""
    return LimitResult(
        name=limit.name, unit=limit.unit, value=values, bound=bounds, slack=margin / scale, remedy=remedy,
        hard=limit.hard,
    )  # fmt: skip
