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

    The bound is None where the limit is not set or does not apply, the value where nothing that it takes is known.
    Where only a part is known, value and bound are those of that part: enough to say "broken", not to say "kept"; see
    `missing`. Shapes are the batch's.
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

    def missing(self, point: OperatingPoint) -> str | None:
        """Key of the first input that is unknown, as a configuration has it, and without which the limit cannot be
        called kept; None where there is none. For an operating point without batch axes."""
        ...

    def remedy(self, point: OperatingPoint) -> str:
        """The one change that would help most, for an operating point without batch axes."""
        ...


class AllKnown:
    """A limit whose inputs every launcher has."""

    __slots__ = ()

    def missing(self, point: OperatingPoint) -> str | None:
        """See Limit."""
        return None


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
        """Whether what is known satisfies it to `ROUNDING`, without batch axes."""
        return bool(self.slack >= -ROUNDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotJudged:
    """A limit that is set or applies but cannot be judged: nothing known breaks it, and something is unknown.

    bound in `unit` (None: unknown too); missing: the key that is unknown; find_out: how to find it out; hard: see
    `Limit`.
    """

    name: str
    unit: str
    bound: float | None
    missing: str
    find_out: str = ""
    hard: bool = False


def evaluate(limit: Limit, point: OperatingPoint, *, remedies: bool = False) -> LimitResult | None:
    """Evaluate `limit` at `point` by what is known; None where it is not set or nothing is known.

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
    scale = np.where((bounds == 0.0) | np.isinf(bounds), 1.0, np.abs(bounds))
    remedy = limit.remedy(point) if remedies else ""
    return LimitResult(
        name=limit.name, unit=limit.unit, value=values, bound=bounds, slack=margin / scale, remedy=remedy,
        hard=limit.hard,
    )  # fmt: skip
