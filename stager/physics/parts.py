"""A stage with parts of its catalogue and chosen design variables: crush, radius and inertia of the wheel.

A wheel of another radius is one of the same make: width, material, bore and depth of the tyre stay, inertia and mass
follow. Where these are given rather than computed, inertia grows as R⁴ and mass as R², as those of a disc do; so does
the inertia of an idler. A wheel of another inertia is a wider or narrower one: width and mass change in proportion.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.stage import Drive, Stage, Wheel
from stager.physics.wheel import wheel_inertia, wheel_mass

Ends = tuple[float, float]
LEAST_CRUSH = 1e-6
"""The least crush that an error may leave of a chosen one [m]."""


@dataclass(frozen=True, slots=True)
class DesignVariable:
    """A quantity of a stage that a plan may choose from a range.

    key : in a configuration, within the stage; unit : of its value; digits : of a chosen value.
    by_ratio : whether places in the range, and errors, are by ratio rather than by difference.
    ends : range in a stage, None where it is not to be chosen; value : in a stage; change : the stage with another one,
    which leaves nothing of it to choose.
    """

    name: str
    key: str
    unit: str
    digits: int
    by_ratio: bool
    ends: Callable[[Stage], Ends | None]
    value: Callable[[Stage], Number]
    change: Callable[[Stage, Number], Stage]

    def range(self, stage: Stage) -> Ends | None:
        """Return the ends of a range that leaves something to choose, else None."""
        ends = self.ends(stage)
        return ends if ends is not None and ends[0] < ends[1] else None

    def at(self, ends: Ends, share: Number) -> Floats:
        """Return the value at a share of the way from end to end."""
        low, high = ends
        if self.by_ratio:
            return np.asarray(low * (high / low) ** np.asarray(share, dtype=np.float64))
        return np.asarray(low + (high - low) * np.asarray(share, dtype=np.float64))

    def share(self, ends: Ends, value: float) -> float:
        """Return the share of the way from end to end at which `value` lies."""
        low, high = ends
        if low == high:
            return 0.0
        return float(np.log(value / low) / np.log(high / low)) if self.by_ratio else (value - low) / (high - low)

    def carried(self, built: Number, nominal: Number, chosen: float) -> Number:
        """Return what is built where `chosen` is meant, with the error that is `built` where `nominal` is meant."""
        return built * (chosen / nominal) if self.by_ratio else np.maximum(built + (chosen - nominal), LEAST_CRUSH)


def _crushed(stage: Stage, crush: Number) -> Stage:
    return replace(stage, crush=crush, crush_range=None)


def _resized(stage: Stage, radius: Number) -> Stage:
    """Return the stage with a wheel of the same make and another radius [m]."""
    wheel, ratio = stage.wheel, radius / stage.wheel.radius
    idler = stage.idler_inertia
    made = replace(
        wheel, radius=radius, radius_range=None, mass=None if wheel.mass is None else wheel.mass * ratio**2,
        inertia=None if wheel.inertia is None else wheel.inertia * ratio**4,
    )  # fmt: skip
    return replace(_with_wheel(stage, made), idler_inertia=None if idler is None else idler * ratio**4)


def _loaded(stage: Stage, inertia: Number) -> Stage:
    """Return the stage with a wheel of the same radius and another inertia [kg m^2]."""
    wheel = stage.wheel
    ratio = inertia / wheel_inertia(wheel)
    made = replace(
        wheel, inertia=None if wheel.inertia is None else inertia, inertia_range=None,
        width=None if wheel.width is None else wheel.width * ratio,
        mass=None if wheel.mass is None else wheel.mass * ratio,
    )  # fmt: skip
    return _with_wheel(stage, made)


CRUSH = DesignVariable(
    "crush", "crush", "m", 3, by_ratio=False,
    ends=lambda stage: stage.crush_range, value=lambda stage: stage.crush, change=_crushed,
)  # fmt: skip
RADIUS = DesignVariable(
    "radius", "wheel.radius", "m", 4, by_ratio=True,
    ends=lambda stage: stage.wheel.radius_range, value=lambda stage: stage.wheel.radius, change=_resized,
)  # fmt: skip
INERTIA = DesignVariable(
    "inertia", "wheel.inertia", "kg m^2", 3, by_ratio=True,
    ends=lambda stage: stage.wheel.inertia_range, value=lambda stage: wheel_inertia(stage.wheel), change=_loaded,
)  # fmt: skip
VARIABLES = (CRUSH, RADIUS, INERTIA)
"""What may be chosen from ranges, in the order in which it is set: a wheel's inertia is that at its radius."""


def free_variables(stage: Stage) -> tuple[DesignVariable, ...]:
    """Return the design variables that are to be chosen in a stage."""
    return tuple(variable for variable in VARIABLES if variable.range(stage) is not None)


def with_variables(stage: Stage, values: Mapping[str, Number]) -> Stage:
    """Return the stage with design variables, by name, at `values`."""
    for variable in VARIABLES:
        if variable.name in values:
            stage = variable.change(stage, values[variable.name])
    return stage


def fitted(stage: Stage, wheel: int, drive: int) -> Stage:
    """Return `stage` with number `wheel` of its wheel_options and number `drive` of its drive_options, 0: as written.

    Cost and mass of the stage change by what each new part costs and weighs more than the one in its place. They are
    unknown where those of one of the two parts are; where those of both are, the parts count as equal. No part is left
    to choose. Raises IndexError where there is no such option.
    """
    parts = (stage.wheel, *stage.wheel_options)[wheel], (stage.drive, *stage.drive_options)[drive]
    return _changed(stage, replace(stage, wheel=parts[0], drive=parts[1], wheel_options=(), drive_options=()))


def choose(stage: Stage, wheel: int | None, drive: int | None) -> Stage:
    """Return `stage` with the parts whose numbers are given; None: left to choose. Raises as `fitted`."""
    chosen = fitted(stage, wheel or 0, drive or 0)
    return replace(
        chosen,
        wheel_options=stage.wheel_options if wheel is None else (),
        drive_options=stage.drive_options if drive is None else (),
    )


def _with_wheel(stage: Stage, wheel: Wheel) -> Stage:
    """Return the stage with another wheel, and the cost and mass that follow from it."""
    return _changed(stage, replace(stage, wheel=wheel))


def _changed(old: Stage, new: Stage) -> Stage:
    """Return `new`, which is `old` with other parts, with the cost and mass that follow from those of `old`."""
    return replace(
        new, cost=_plus(old.cost, extra_cost(old, new)), mass=_plus(old.mass, _extra(old, new, _mass)),
    )  # fmt: skip


def extra_cost(old: Stage, new: Stage) -> Number | None:
    """Return what the driven wheels of `new` with their drives cost more than those of `old`; None: unknown.

    Two parts of unknown price count as equal.
    """
    return _extra(old, new, _cost)


Part = Wheel | Drive | None


def _extra(old: Stage, new: Stage, of: Callable[[Part], Number | None]) -> Number | None:
    """Return how much greater the sum of a quantity over the driven wheels and their drives is; None: unknown."""
    total: Number | None = 0.0
    for before, after in ((old.wheel, new.wheel), (old.drive, new.drive)):
        known = of(before), of(after)
        if known[0] is not None or known[1] is not None:
            total = _plus(total, None if known[0] is None or known[1] is None else known[1] - known[0])
    return None if total is None else new.layout.driven_wheels * total


def _plus(first: Number | None, second: Number | None) -> Number | None:
    return None if first is None or second is None else first + second


def _cost(part: Part) -> Number | None:
    return 0.0 if part is None else part.cost


def _mass(part: Part) -> Number | None:
    if part is None:
        return 0.0
    computed = isinstance(part, Wheel) and part.material is not None and part.width is not None
    return wheel_mass(part) if isinstance(part, Wheel) and computed else part.mass
