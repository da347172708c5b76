"""Limits on the speed of single wheels, and how fast a wheel may turn, and a projectile may leave, within all limits.

A wheel's speed is limited by the user, motor, supply, hub and tyre.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stager.constraints.limit import (
    ROUNDING,
    Kind,
    Limit,
    OperatingPoint,
    any_stage,
    at_most,
    down,
    evaluate,
    greatest,
    least,
    over_stages,
    rising_with_no_load,
    worst_stage,
)
from stager.model.arrays import Floats, Number, hundredths_down
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.model.stage import Hold, Stage, Wheel
from stager.physics.mechanics import peak_normal
from stager.physics.motor import drivetrain_of, steady_speeds
from stager.physics.records import FIELDS, Grip, Throw, Transit, batch_shape
from stager.physics.wheel import (
    allowable_speed,
    burst_speed,
    explain,
    retention_speed,
    rim_safety,
    turning_hold,
    unknown_burst,
    unknown_retention,
    unknown_strength,
    unknown_turning_hold,
)

GREATEST_WHEEL_SPEED = 200.0
"""End of the speed range where no limit ends it [m/s]."""
GREATEST_EXIT_SPEED = 1e4
"""Exit speed above which no limit on it is searched for [m/s]."""
COARSE_POINTS = 33
"""Wheel speeds of the first grid over the whole range."""
FINE_POINTS = 12
"""Wheel speeds of each finer grid, between the last kept and the first broken one."""
REFINEMENTS = 3
"""Finer grids: they shorten the interval to 1/(32·11³) of the range."""
HALVINGS = 48
"""Halvings of the range of exit speeds, to 4e-11 m/s."""
NONE: Mapping[str, float] = {}
"""No margins: every limit may be active."""


@dataclass(frozen=True, slots=True)
class SpeedRange:
    """Greatest surface speed of a wheel [m/s], shape () or the launcher's batch, and the limit that sets it."""

    top: Floats
    ends_by: str


def range_of(
    launcher: Launcher, limit_values: LimitValues, index: int, limits: tuple[Limit, ...],
    margins: Mapping[str, float] = NONE,
) -> SpeedRange:  # fmt: skip
    """Return the range of surface speeds of stage `index`: from 0 up to where a limit of kind WHEEL breaks.

    limits: the table of limits; margins: least slack of a limit by its name [-], 0 for the others.
    """
    stage = launcher.stage(index)
    single = replace(launcher, stages=(stage,), template=stage)
    shape = (
        batch_shape(single.projectile, single.contact, stage, single.supply)
        if single.supply
        else batch_shape(single.projectile, single.contact, stage)
    )
    end = np.full(shape, GREATEST_WHEEL_SPEED)
    top, ends_by = end, "range"
    for limit in limits:
        if limit.kind is not Kind.WHEEL:
            continue
        found = _speed_within(single, limit_values, limit, end, margins.get(limit.name, 0.0))
        if found.mean() < top.mean():
            ends_by = limit.name
        top = np.minimum(top, found)
    return SpeedRange(top, ends_by)


def _speed_within(launcher: Launcher, limit_values: LimitValues, limit: Limit, top: Floats, margin: float) -> Floats:
    """Return the wheel speed up to which `limit` has a slack of at least `margin` [-] [m/s], at most `top`."""
    low, high, count = np.zeros_like(top), top, COARSE_POINTS
    for turn in range(REFINEMENTS + 1):
        share = np.linspace(0.0, 1.0, count).reshape(-1, *(1 for _ in top.shape))
        speeds = low + (high - low) * share
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=no_throw(speeds[..., None]))
        result = evaluate(limit, point)
        if result is None:
            return top
        slack = np.broadcast_to(result.slack, speeds.shape) - margin + 0.5 * ROUNDING
        broken = slack < 0
        if turn == 0 and not broken.any():
            return top
        first = np.argmax(broken, axis=0)[None]
        before = np.maximum(first - 1, 0)
        kept = ~broken.any(axis=0)
        low = np.where(kept, high, np.take_along_axis(speeds, before, axis=0)[0])
        high = np.where(kept, high, np.take_along_axis(speeds, first, axis=0)[0])
        count = FINE_POINTS
    slack_below, slack_above = (np.take_along_axis(slack, place, axis=0)[0] for place in (before, first))
    crosses = (slack_below > slack_above) & (slack_below >= 0)
    share = np.where(crosses, slack_below / np.where(crosses, slack_below - slack_above, 1.0), 0.0)
    return np.asarray(np.where(kept, high, low + np.clip(share, 0.0, 1.0) * (high - low)))


def cap_of(
    launcher: Launcher, limit_values: LimitValues, limits: tuple[Limit, ...], margins: Mapping[str, float] = NONE
) -> Floats:
    """Return the exit speed up to which the limits on exit speed and energy are satisfied [m/s].

    Shape () or the launcher's batch. All limits of kind THROW are evaluated for a throw without acceleration and heat.
    """
    shape = batch_shape(launcher.projectile, launcher.outlet, limit_values)
    low, high = np.zeros(shape), np.full(shape, GREATEST_EXIT_SPEED)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        throw = replace(no_throw(np.zeros((*shape, 1))), exit_speed=middle)
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=throw)
        kept = np.ones(shape, bool)
        for limit in limits:
            if limit.kind is Kind.THROW and (result := evaluate(limit, point)) is not None:
                kept &= np.broadcast_to(result.slack, shape) >= margins.get(limit.name, 0.0)
        low, high = np.where(kept, middle, low), np.where(kept, high, middle)
    return low


def no_throw(wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> Throw:
    """Return a throw of zeros with wheels at `wheel_speed` [m/s], shape (..., stages); side B's at another where given.

    Limits of kind DESIGN, WHEEL and STEADY can be evaluated with it.
    """
    none = np.zeros(np.shape(wheel_speed))
    values: dict[str, Any] = dict.fromkeys(FIELDS, none) | {
        "grip": np.full(none.shape, Grip.NOT_REACHED, np.int8),
        "wheel_speed_a": wheel_speed,
        "wheel_speed_b": wheel_speed if wheel_speed_b is None else wheel_speed_b,
    }
    nothing = np.zeros(none.shape[:-1])
    return Throw(stages=Transit(**values), exit_speed=nothing, spin=nothing, jammed=nothing > 0)


REACH_CACHE = 64
"""Sets of parts whose reachable speed is kept: a search asks for the same ones again and again."""
_reach_cache: OrderedDict[tuple[int, ...], tuple[tuple[Any, ...], Number]] = OrderedDict()


def motor_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Return the surface speed at the motor's greatest speed [m/s]; inf where it has none."""
    drive = stage.drive
    if drive is None or drive.max_speed is None:
        return np.inf
    return drive.max_speed / drive.gear * stage.wheel.radius


def reach_ceiling(launcher: Launcher, stage: Stage) -> Number:
    """Return the surface speed at full throttle against windage and no-load loss [m/s]; inf without drive or supply.

    This stage alone is on the supply.
    """
    parts = stage.wheel, stage.drive, launcher.supply, stage.layout
    key = tuple(map(id, parts))
    found = _reach_cache.get(key)
    if found is None:
        # The parts are kept too, so that no other object takes their identity.
        found = _reach_cache[key] = parts, _reach(launcher, stage)
        while len(_reach_cache) > REACH_CACHE:
            _reach_cache.popitem(last=False)
    return found[1]


def _reach(launcher: Launcher, stage: Stage) -> Number:
    train = drivetrain_of([stage])
    if train is None or launcher.supply is None:
        return np.inf
    shape = np.broadcast_shapes(train.radius.shape, train.pull.shape, (*np.shape(launcher.supply.voltage), 1))
    return (steady_speeds(train, np.ones(shape), launcher.supply) * train.radius)[..., 0]


SPEED_CEILINGS: dict[str, Callable[[Launcher, Stage], Number]] = {
    "motor_speed": motor_ceiling,
    "drive_reach": reach_ceiling,
    "burst": lambda launcher, stage: burst_speed(stage.wheel),
    "tyre_retention": lambda launcher, stage: retention_speed(stage.wheel),
}
"""By name of a limit, the surface speed that a part of a stage certainly does not withstand [m/s]; inf: unknown."""


def _share_of_ceiling(
    name: str, applies: Callable[[Stage], bool], missing: Callable[[Launcher, Stage, float], str | None],
    remedy: Callable[[OperatingPoint, int, float], str], *, turning: bool = True,
) -> Limit:  # fmt: skip
    """Return the limit of wheel speed as a share of the ceiling `name`, the greatest share over the stages.

    Parameters
    ----------
    name : str
        Key in SPEED_CEILINGS.
    applies : callable
        Whether a stage has the part.
    missing : callable
        Key of the input without which the part of a stage is not known to withstand a speed [m/s], or None.
    remedy : callable
        The change that helps most, for a stage and its ceiling [m/s].
    turning : bool
        The greatest speed of a wheel in a throw counts, not the set one.
    """

    def speeds(point: OperatingPoint) -> Floats:
        return point.turning if turning else point.fastest

    def ceilings(point: OperatingPoint) -> Floats:
        stages = [point.launcher.stage(k) for k in range(point.count)]
        return over_stages([SPEED_CEILINGS[name](point.launcher, stage) for stage in stages])

    def shares(point: OperatingPoint) -> Floats:
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(speeds(point) > 0, speeds(point) / ceilings(point), 0.0))

    def known_shares(point: OperatingPoint) -> Floats | None:
        return shares(point) if np.isfinite(ceilings(point)).any() else None

    def first_missing(point: OperatingPoint) -> str | None:
        for k in range(point.count):
            stage = point.launcher.stage(k)
            if applies(stage) and (key := missing(point.launcher, stage, float(speeds(point)[k]))):
                return key
        return None

    def worst_remedy(point: OperatingPoint) -> str:
        stage = worst_stage(shares(point))
        return remedy(point, stage, float(np.broadcast_to(ceilings(point), point.fastest.shape)[stage]))

    return Limit(
        name=name, kind=Kind.WHEEL, unit="-", hard=True, turning=turning,
        value=greatest(known_shares), each=known_shares,
        bound=lambda point: 1.0 if any_stage(point, applies) else None, missing=first_missing, remedy=worst_remedy,
    )  # fmt: skip


def _slower_or(alternative: str) -> Callable[[OperatingPoint, int, float], str]:
    """Return a remedy: a wheel no faster than its ceiling, or an alternative."""
    return lambda point, stage, ceiling: f"wheel {1 + stage} at {at_most(ceiling)}, or {alternative}"


def _hold_tyre(point: OperatingPoint, stage: int, ceiling: float) -> str:
    speed = float(point.turning[stage]) if point.count else 0.0
    found = explain(point.launcher.stage(stage).wheel, speed)
    if found is None or found.failure is None or not found.changes:
        return f"wheel {1 + stage} at {at_most(ceiling)}" if np.isfinite(ceiling) else ""
    best = found.changes[0]
    fails = f"tyre of wheel {1 + stage}: {found.failure.value} at {hundredths_down(found.speed)} m/s"
    return f"{fails}; {best.what} holds it to {down(best.speed)} m/s"


def _has_tyre(stage: Stage) -> bool:
    return stage.wheel.tyre is not None


def _rim_factors(point: OperatingPoint) -> Floats:
    """Return strength / greatest stress of each hub [-], shape (..., stages)."""
    wheels = [point.launcher.stage(k).wheel for k in range(point.count)]
    return over_stages([rim_safety(wheel, point.turning[..., k]) for k, wheel in enumerate(wheels)])


def _known_rim_factors(point: OperatingPoint) -> Floats | None:
    """Return `_rim_factors` [-]; None where no hub's strength is known."""
    factors = _rim_factors(point)
    return None if np.isinf(factors).all() else factors


def _rim_remedy(point: OperatingPoint) -> str:
    stage = worst_stage(-_rim_factors(point))
    most = float(allowable_speed(point.launcher.stage(stage).wheel, point.limit_values.rim_safety or 1.0))
    return f"wheel {1 + stage} at {at_most(most)}, or of a lighter, stronger material"


def _turning_shares(point: OperatingPoint) -> Floats:
    """Return peak friction force / the force that turns the tyre on its hub, of each stage [-], shape (..., stages)."""
    launcher, speed, stages = point.launcher, point.turning, point.throw.stages
    # A projectile may be faster than a slow wheel, and spins besides.
    turning = np.maximum(np.abs(stages.entry_spin), np.abs(stages.exit_spin))
    moving = np.maximum(stages.entry_speed, stages.exit_speed)
    found: list[Number] = []
    for k in range(point.count):
        normal = peak_normal(launcher, k, speed[..., k])
        around = moving[..., k] + launcher.projectile.radius * turning[..., k]
        slip = np.maximum(speed[..., k], around - point.fastest[..., k])
        grip = launcher.contact.friction.greatest(slip) * normal
        found.append(grip / turning_hold(launcher.stage(k).wheel, speed[..., k], normal))
    return over_stages(found)


def _known_turning_shares(point: OperatingPoint) -> Floats | None:
    """Return `_turning_shares` [-]; None where no tyre's hold is known."""
    shares = _turning_shares(point)
    return shares if (shares > 0).any() else None


_FIRMER = {
    Hold.STRETCH: "bond or clamp the tyre of wheel {0}",
    Hold.LIP: "bond or clamp the tyre of wheel {0}",
    Hold.CLAMP: "bond the tyre of wheel {0}, or clamp it harder",
    Hold.BOND: "a stronger or wider bond on wheel {0}, or less crush in stage {0}",
}
"""What keeps a tyre from turning on its wheel, by what holds it."""


def _turning_remedy(point: OperatingPoint) -> str:
    stage = worst_stage(_turning_shares(point))
    tyre = point.launcher.stage(stage).wheel.tyre
    return "" if tyre is None else _FIRMER[tyre.held_by].format(1 + stage)


def _first_wheel_missing(unknown: Callable[[Wheel], str | None]) -> Callable[[OperatingPoint], str | None]:
    """Return a function that finds the first key that `unknown` names for a wheel."""

    def first(point: OperatingPoint) -> str | None:
        wheels = [point.launcher.stage(k).wheel for k in range(point.count)]
        return next((key for wheel in wheels if (key := unknown(wheel))), None)

    return first


WHEEL_SPEED = Limit(
    name="wheel_speed", kind=Kind.WHEEL, unit="m/s", hard=True, turning=True,
    value=greatest(lambda point: point.turning),
    each=lambda point: point.turning,
    bound=lambda point: point.limit_values.wheel_speed,
    remedy=lambda point: f"a slower wheel {1 + worst_stage(point.turning)}",
)  # fmt: skip
MOTOR_SPEED = _share_of_ceiling(
    "motor_speed",
    applies=lambda stage: stage.drive is not None and stage.drive.max_speed is not None,
    missing=lambda launcher, stage, speed: None,
    remedy=_slower_or("a motor that may turn faster"),
)
DRIVE_REACH = rising_with_no_load(_share_of_ceiling(
    "drive_reach",
    applies=lambda stage: stage.drive is not None,
    missing=lambda launcher, stage, speed: "supply" if launcher.supply is None else None,
    remedy=_slower_or("more volts or more speed per volt"),
    turning=False,
))  # fmt: skip
BURST = _share_of_ceiling(
    "burst",
    applies=lambda stage: True,
    missing=lambda launcher, stage, speed: unknown_burst(stage.wheel),
    remedy=_slower_or("a hub of a lighter, stronger material"),
)
TYRE_RETENTION = _share_of_ceiling(
    "tyre_retention",
    applies=_has_tyre,
    missing=lambda launcher, stage, speed: unknown_retention(stage.wheel, speed),
    remedy=_hold_tyre,
)
RIM_SAFETY = Limit(
    name="rim_safety", kind=Kind.WHEEL, unit="-", hard=True, floor=True, turning=True,
    value=least(_known_rim_factors),
    each=_known_rim_factors,
    bound=lambda point: point.limit_values.rim_safety,
    missing=_first_wheel_missing(unknown_strength),
    remedy=_rim_remedy,
)  # fmt: skip
TYRE_TURNING = Limit(
    name="tyre_turning", kind=Kind.WHEEL, unit="-", hard=True, turning=True,
    value=greatest(_known_turning_shares),
    each=_known_turning_shares,
    bound=lambda point: 1.0 if any_stage(point, _has_tyre) else None,
    missing=_first_wheel_missing(unknown_turning_hold),
    remedy=_turning_remedy,
)  # fmt: skip
