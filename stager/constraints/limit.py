"""What a limit is, and how it is evaluated at an operating point.

An operating point is a launcher with its stages set and a throw through them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from stager.model.arrays import Floats, Number, rounded
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.model.stage import Drive, Stage
from stager.physics.chain import DEFAULT, Options, throw
from stager.physics.flight import outlet_speed
from stager.physics.heat import Windings, windings
from stager.physics.mechanics import translation_energy
from stager.physics.motor import Drivetrain, Holding, build_drivetrain, hold
from stager.physics.rate import Settled, settled
from stager.physics.records import Throw

Result = TypeVar("Result")


@dataclass(frozen=True, kw_only=True)
class OperatingPoint:
    """A launcher with its stages set, and a throw through them; batch axes lead, stages are last.

    grip_limit: grip limit of each stage at its own entry speed [m/s], shape (..., stages); NaN where exit speed
    still rises at the end of the speed range; None where it was not computed.
    options: how throws at a rate are integrated.
    whole: the throw was computed in one go, so that it compares with those at a rate to their rounding; stage by stage
    it differs by the accuracy of the integration.
    States of drives, supply and windings and values of limits are computed at first use and kept.
    """

    launcher: Launcher
    limit_values: LimitValues
    throw: Throw
    grip_limit: Floats | None = None
    options: Options = DEFAULT
    whole: bool = True

    def once(self, compute: Callable[[OperatingPoint], Result]) -> Result:
        """Return what `compute` returns for this point, computed at its first use; for functions of a module."""
        if compute not in self._known:
            self._known[compute] = compute(self)
        found: Result = self._known[compute]
        return found

    @cached_property
    def _known(self) -> dict[Callable[[OperatingPoint], Any], Any]:
        return {}

    @property
    def count(self) -> int:
        """Number of stages."""
        return int(self.throw.stages.grip.shape[-1])

    @property
    def batched(self) -> bool:
        """Whether there are batch axes."""
        return bool(np.ndim(self.throw.exit_speed))

    @cached_property
    def outlet_speed(self) -> Floats:
        """Speed behind the outlet, or behind the last wheel without one [m/s]; 0 where the projectile stops in it."""
        return np.asarray(outlet_speed(self.launcher, self.throw.exit_speed))

    @cached_property
    def exit_energy(self) -> Floats:
        """Energy of the projectile's motion behind the outlet, without its spin [J]."""
        return np.asarray(translation_energy(self.outlet_speed, self.launcher.projectile))

    @cached_property
    def set_speeds(self) -> tuple[Floats, Floats | None]:
        """Set surface speeds of sides A and B [m/s], each (..., stages); B None where every pair runs at one speed."""
        stages = self.throw.stages
        pairs = [k for k in range(self.count) if self.launcher.stage(k).layout.side_b_driven]
        same = np.array_equal(stages.wheel_speed_a[..., pairs], stages.wheel_speed_b[..., pairs])
        return stages.wheel_speed_a, None if same else stages.wheel_speed_b

    @cached_property
    def fastest(self) -> Floats:
        """Set speed of the faster wheel of each stage [m/s], shape (..., stages)."""
        return np.maximum(self.throw.stages.wheel_speed_a, self.throw.stages.wheel_speed_b)

    @cached_property
    def turning(self) -> Floats:
        """Greatest speed of a wheel of each stage in the throw [m/s], shape (..., stages).

        A projectile that is faster than a wheel drives it beyond its set speed.
        """
        return np.maximum(self.fastest, np.maximum(self.throw.stages.wheel_top_a, self.throw.stages.wheel_top_b))

    @cached_property
    def leading(self) -> Floats:
        """Speed of each stage's leading wheel [m/s], shape (..., stages): the faster of a pair, else side A's."""
        stages, pairs = self.throw.stages, [self.launcher.stage(k).layout.side_b_driven for k in range(self.count)]
        return np.where(stages.a_leads | ~np.array(pairs, bool), stages.wheel_speed_a, stages.wheel_speed_b)

    @cached_property
    def train(self) -> Drivetrain | None:
        """The driven wheels of all stages; None where a stage has no drive, or without supply."""
        if self.launcher.supply is None:
            return None
        return build_drivetrain(self.launcher, self.count, split=self.set_speeds[1] is not None)

    @cached_property
    def holding(self) -> Holding | None:
        """Currents and voltages that hold the wheels at their set speeds; None without drives or supply."""
        if self.train is None or self.launcher.supply is None:
            return None
        speed, speed_b = self.set_speeds
        columns = self.train.columns(speed, speed if speed_b is None else speed_b)
        return hold(self.train, columns / self.train.radius, self.launcher.supply)

    @cached_property
    def most_idling(self) -> OperatingPoint | None:
        """The point with the greatest no-load current assumed of the motors of which it is unknown; None: of none."""
        launcher = most_idling(self.launcher, self.count)
        return None if launcher is None else replace(self, launcher=launcher, whole=False)

    @property
    def settled(self) -> Settled | None:
        """Steady throwing at the feed's rate; None without rate, drives or supply, or where throws do not settle.

        Of a batch, where they do not settle it is NaN.
        """
        return None if self.unsettled else self._settled

    @cached_property
    def unsettled(self) -> bool:
        """Whether throws at the feed's rate do not settle, without batch axes."""
        return not self.batched and self._settled is not None and bool(self._settled.unsettled)

    @property
    def steady(self) -> Settled | None:
        """Steady throwing at the feed's rate as `settled`; None too where throws at the rate jam."""
        return None if self.unsteady else self._settled

    @property
    def unsteady(self) -> bool:
        """Whether throws at the feed's rate do not settle or jam, without batch axes."""
        return not self.batched and self._settled is not None and not bool(self._settled.converged)

    @cached_property
    def _settled(self) -> Settled | None:
        rate = self.launcher.feed.rate
        if rate is None or self.holding is None:
            return None
        first = self.throw if self.whole else None
        return settled(self.launcher, rate, *self.set_speeds, first=first, options=self.options)

    @cached_property
    def windings(self) -> Windings | None:
        """Windings at the feed's rate, or with the wheels held where it has none; None without thermal data."""
        if self.train is None or self.holding is None:
            return None
        return windings(self.launcher, self.train, self.holding, self.steady)


ROUNDING = 1e-6
"""Share of a bound that a value may exceed and still satisfy it: the accuracy of a throw [-]."""
NO_LOAD = 0.05
"""Greatest no-load current of a motor as a share of its stall current [-]; common practice, no source."""
NO_LOAD_CURRENT = "stage.drive.no_load_current"
"""The key of a motor's no-load current."""
NOT_SETTLED = "throws that settle"
"""Stands for the missing key where throws at the feed's rate go on changing, or jam."""
JAMS = "jam"
"""Stands for the name of a limit where no wheel speed gets the projectile through."""
NO_GRIP_LIMIT = "a grip limit within the range"
"""Stands for the missing key where exit speed still rises at the end of the speed range."""
FIND_OUT = {
    "projectile.contact_area": "press the projectile on carbon paper and measure the mark",
    "projectile.thickness": "measure it across the flat side",
    "stage.mass": "weigh a stage; where parts are offered, give the mass of each",
    "stage.cost": "add up its parts; where parts are offered, give the cost of each",
    "stage.drive": "describe the motor: speed constant and resistance stand on its data sheet",
    "stage.drive.heat": "take heat capacities and resistances from the motor's data sheet, or warm it up and time it",
    NO_LOAD_CURRENT: "let the motor run free and read its current",
    "stage.wheel.material": "name what the hub is made of",
    "stage.wheel.bore": "measure the hole for the shaft, 0 mm for a wheel without one",
    "stage.wheel.modulus": "name what the hub is made of, or take Young's modulus from its data sheet",
    "stage.wheel.yield_strength": "take it from the material's data sheet",
    "stage.wheel.tensile_strength": "take it from the material's data sheet",
    "stage.wheel.width": "measure it along the axis",
    "stage.wheel.tyre.bond_strength": "take it from the adhesive's data sheet, or pull a tread off with a spring scale",
    "stage.wheel.tyre.lip_strength": "press a lip away with a known force: force by the area of the seat",
    "stage.wheel.tyre.hub_friction": "turn the tyre on its hub with a spring scale: pull by pressing force",
    "stage.wheel.tyre.tensile_strength": "name the rubber, or take it from its data sheet",
    "supply": "describe it: voltage, and resistance of battery and leads",
    "feed.rate": "say how many throws a second are fed",
    NOT_SETTLED: "throw more slowly",
    NO_GRIP_LIMIT: "a faster wheel, or more of its range",
}
"""How to find out an unknown input, by its key."""


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


Compute = Callable[[OperatingPoint], Number | None]
ComputeEach = Callable[[OperatingPoint], Floats | None]


def nothing_missing(point: OperatingPoint) -> str | None:
    """Return None: for a limit whose inputs every launcher has."""
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit: how to compute its value at an operating point, and the bound on it.

    Value and bound have the shape of the batch. Where only some inputs are known, they are those of the known part:
    enough to call the limit broken, not to call it satisfied.

    Parameters
    ----------
    name : str
        Key in configurations and documents.
    kind : Kind
        What the value depends on.
    unit : str
        Unit of value and bound.
    hard : bool
        Breaking it can hurt or break something, so that it is kept in `limits.confidence` of possible builds.
    floor : bool
        The bound is the least value, not the greatest.
    end : float
        Bounds from this value on allow everything, so that they are no limit and none is proposed.
    origin : float
        Value that nothing uses, in `unit`: slack is a share of the bound above it, of a temperature of its rise.
    bound_by_missing : bool
        The bound too rests on the input that `missing` names: it is unknown where that is.
    turning : bool
        Of kind WHEEL: it is on `OperatingPoint.turning`, the greatest speed of a wheel in a throw, not the set one.
    settles : bool
        Of kind STEADY: the value is of throw after throw, not only of turning wheels.
    jumps : bool
        The value jumps with wheel speed, so that nothing between computed values is known.
    value : callable
        Computes the value; None where nothing of it is known.
    bound : callable
        Computes the bound; None where the limit is not set or does not apply.
    follows : callable, optional
        Computes the bounds that it has from other limits, by their names, of which the least is its own: it is no
        limit that is set, and gets looser with these. It takes factors on their bounds [-], by name.
    each : callable, optional
        Computes the value of each stage, on a last axis, where `value` is the worst of them.
    missing : callable
        Returns the configuration key of the first unknown input without which the limit cannot be called satisfied,
        or None. For an operating point without batch axes.
    remedy : callable
        Returns the one change that would help most. For an operating point without batch axes.
    """

    name: str
    kind: Kind
    unit: str
    value: Compute
    bound: Compute
    remedy: Callable[[OperatingPoint], str]
    follows: Callable[[OperatingPoint, Mapping[str, float]], Mapping[str, Number]] | None = None
    each: ComputeEach | None = None
    missing: Callable[[OperatingPoint], str | None] = nothing_missing
    hard: bool = False
    floor: bool = False
    end: float = np.inf
    origin: float = 0.0
    bound_by_missing: bool = False
    turning: bool = False
    settles: bool = False
    jumps: bool = False

    @property
    def needs_exit(self) -> bool:
        """Whether it needs a projectile that leaves the launcher: it is not judged after a jam."""
        return self.kind is Kind.THROW or self.settles


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitResult:
    """A limit at an operating point: value and bound in `unit`.

    slack: margin / (bound − origin of the limit) [-]: > 0 satisfied, 0 active, < 0 broken; remedy: the one change that
    would help most, empty where it was not asked for; hard: see `Limit`.
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
        """Whether the known inputs satisfy it to `ROUNDING`; without batch axes."""
        return bool(self.slack >= -ROUNDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotJudged:
    """A limit that applies and cannot be judged: the known inputs do not break it, and an input is unknown.

    bound in `unit` (None: unknown too); missing: key of the unknown input; find_out: how to find it out; hard: see
    `Limit`.
    """

    name: str
    unit: str
    bound: float | None
    missing: str
    find_out: str = ""
    hard: bool = False


def evaluate(limit: Limit, point: OperatingPoint, *, remedies: bool = False) -> LimitResult | None:
    """Evaluate `limit` at `point` from the known inputs; None where it is not set or nothing is known.

    remedies: add the one change that would help most, for an operating point without batch axes.
    """
    bound = limit.bound(point)
    if bound is None:
        return None
    value = point.once(limit.value)
    if value is None:
        return None
    values, bounds = np.asarray(value, dtype=np.float64), np.asarray(bound, dtype=np.float64)
    if values.ndim == 0 and np.isnan(values):
        return None
    remedy = limit.remedy(point) if remedies else ""
    return LimitResult(
        name=limit.name, unit=limit.unit, value=values, bound=bounds, slack=_slack(limit, values, bounds),
        remedy=remedy, hard=limit.hard,
    )  # fmt: skip


def slacks(limit: Limit, point: OperatingPoint) -> Floats | None:
    """Return the slack of `limit` [-], of each stage on a last axis, (..., stages), or of all together, (..., 1).

    None as in `evaluate`. The slack of the worst stage has kinks where another stage becomes the worst; that of one
    stage has none.
    """
    bound = limit.bound(point)
    if bound is None:
        return None
    bounds = np.asarray(bound, dtype=np.float64)[..., None]
    if limit.each is not None:
        values = limit.each(point)
    else:
        value = point.once(limit.value)
        values = None if value is None else np.asarray(value, dtype=np.float64)[..., None]
    return None if values is None else _slack(limit, values, bounds)


def _slack(limit: Limit, values: Floats, bounds: Floats) -> Floats:
    """Return margin / (bound − origin) [-]."""
    margin = values - bounds if limit.floor else bounds - values
    span = bounds - limit.origin
    scale = np.where((span == 0.0) | np.isinf(span), 1.0, np.abs(span))
    return np.asarray(margin / scale)


def greatest(each: ComputeEach) -> Compute:
    """Return a function that computes the greatest over the stages of what `each` computes, at least 0."""

    def value(point: OperatingPoint) -> Number | None:
        found = each(point)
        return None if found is None else np.asarray(found.max(axis=-1, initial=0.0))

    return value


def least(each: ComputeEach, without: float = np.inf) -> Compute:
    """Return a function that computes the least over the stages of what `each` computes; without: stages."""

    def value(point: OperatingPoint) -> Number | None:
        found = each(point)
        return None if found is None else np.asarray(found.min(axis=-1, initial=without))

    return value


def unjudged(limit: Limit, point: OperatingPoint) -> NotJudged | None:
    """Return `limit` as not judged at `point` without batch axes; None where it is not set, is broken or is judged."""
    bound = limit.bound(point)
    if bound is None:
        return None
    result, missing = evaluate(limit, point), limit.missing(point)
    if missing is None and limit.settles and point.unsteady:
        missing = NOT_SETTLED
    if result is not None and (missing is None or not result.satisfied):
        return None
    key = NO_GRIP_LIMIT if missing is None else missing
    number = np.nan if limit.bound_by_missing else float(np.asarray(bound))
    return NotJudged(
        name=limit.name, unit=limit.unit, bound=number if np.isfinite(number) else None, missing=key,
        find_out=FIND_OUT.get(key, ""), hard=limit.hard,
    )  # fmt: skip


def most_idling(launcher: Launcher, stages: int) -> Launcher | None:
    """Return the launcher with no-load currents of NO_LOAD of the stall current where they are unknown.

    None where those of the first `stages` stages are known, or without a supply.
    """
    supply = launcher.supply

    def lacks(stage: Stage) -> bool:
        return stage.drive is not None and not stage.drive.no_load_known

    def changed(stage: Stage) -> Stage:
        if supply is None or stage.drive is None or not lacks(stage):
            return stage
        most = NO_LOAD * supply.voltage / stage.drive.resistance
        return replace(stage, drive=replace(stage.drive, no_load_current=most))

    if supply is None or not any(lacks(launcher.stage(k)) for k in range(stages)):
        return None
    return replace(launcher, template=changed(launcher.template), stages=tuple(map(changed, launcher.stages)))


def rising_with_no_load(limit: Limit) -> Limit:
    """Return a limit whose value rises with the no-load current of a motor.

    An unknown current is taken as 0. It is missing where the greatest that is assumed breaks the limit. A value of
    throw after throw rises only as long as the wheels are held at their speeds: it is missing too where they are not.
    """

    def missing(point: OperatingPoint) -> str | None:
        worse = point.most_idling
        if (key := limit.missing(point)) or worse is None:
            return key
        result = evaluate(limit, worse)
        held = not limit.settles or worse.holding is None or (bool(worse.holding.reached) and not worse.unsteady)
        return None if held and (result is None or result.satisfied) else NO_LOAD_CURRENT

    return replace(limit, missing=missing)


STEP = 0.03
"""Relative change by which remedies are compared [-]."""


def at_other_speeds(point: OperatingPoint, factor: float, wheel: int | None = None) -> OperatingPoint:
    """Return the point with the set speeds of stage `wheel` times `factor` [-], of all stages without one."""
    factors = np.ones(point.count)
    factors[slice(None) if wheel is None else wheel] = factor
    speed, speed_b = point.set_speeds
    other = None if speed_b is None else speed_b * factors
    thrown = throw(point.launcher, speed * factors, other, options=point.options)
    return replace(point, throw=thrown, whole=True)


def with_other_stages(
    point: OperatingPoint, change: Callable[[Stage], Stage], stage: int | None = None
) -> OperatingPoint:
    """Return the point with a stage changed, all stages without one."""
    stages = [point.launcher.stage(k) for k in range(point.count)]
    made = tuple(change(old) if stage in (None, k) else old for k, old in enumerate(stages))
    return at_other_speeds(replace(point, launcher=replace(point.launcher, stages=made)), 1.0)


def with_other_drives(
    point: OperatingPoint, change: Callable[[Drive], Drive], stage: int | None = None
) -> OperatingPoint:
    """Return the point with the drive of a stage changed, of all stages without one."""

    def changed(old: Stage) -> Stage:
        return old if old.drive is None else replace(old, drive=change(old.drive))

    return with_other_stages(point, changed, stage)


def most_helpful(
    score: Callable[[OperatingPoint], tuple[float, ...]], point: OperatingPoint, changes: Mapping[str, OperatingPoint],
    most: int = 1,
) -> str:  # fmt: skip
    """Return the changes, by their words, with the lowest scores; those that do not lower the score are left out.

    score: the less the better, compared in order; most: greatest number of changes.
    """
    now, found = score(point), {words: score(changed) for words, changed in changes.items()}
    better = sorted((words for words in found if found[words] < now), key=lambda words: found[words])
    return ", or ".join(better[:most])


def at_most(speed: float) -> str:
    """Return a greatest speed [m/s] as advice.

    >>> at_most(12.968), at_most(105.0), at_most(0.0)
    ('12.9 m/s or less', '105 m/s or less', '0 m/s or less')
    """
    return f"{down(speed)} m/s or less"


def down(speed: float) -> str:
    """Return a speed [m/s] with three digits, rounded down, as advice goes beyond no limit."""
    return f"{rounded(speed, 3, upward=False):.3g}"


def any_stage(point: OperatingPoint, condition: Callable[[Stage], bool]) -> bool:
    """Return whether any stage meets a condition."""
    return any(condition(point.launcher.stage(k)) for k in range(point.count))


def missing_drive(point: OperatingPoint) -> str | None:
    """Return the key that the drives of all stages lack, of a drive or the supply; None where both are given."""
    if any_stage(point, lambda stage: stage.drive is None):
        return "stage.drive"
    return "supply" if point.launcher.supply is None else None


def over_stages(values: Sequence[Number]) -> Floats:
    """Return values of the stages stacked on a last axis."""
    return np.stack(np.broadcast_arrays(*values), axis=-1) if values else np.zeros(0)


def worst_stage(values: Floats) -> int:
    """Return the index of the stage with the greatest value, for an operating point without batch axes."""
    return int(np.argmax(values)) if np.size(values) else 0
