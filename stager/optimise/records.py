"""Records of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from stager.bounds import Bound
from stager.constraints import LimitResult, OperatingPoint
from stager.model.arrays import Floats
from stager.optimise.flown import Flown
from stager.optimise.spin import SPIN_WITHIN
from stager.physics.records import Throw


class Parts(NamedTuple):
    """Numbers of wheel and drive in a stage's lists, 0: as written; crush [m], wheel radius [m] and wheel inertia
    [kg m^2], None: as written."""

    wheel: int
    drive: int
    crush: float | None = None
    radius: float | None = None
    inertia: float | None = None

    @property
    def design(self) -> dict[str, float]:
        """What was chosen from ranges, by name."""
        given = {"crush": self.crush, "radius": self.radius, "inertia": self.inertia}
        return {name: value for name, value in given.items() if value is not None}

    def having(self, design: Mapping[str, float]) -> Parts:
        """Return the parts with other values of design variables, by name."""
        values = {**self.design, **design}
        return Parts(self.wheel, self.drive, values.get("crush"), values.get("radius"), values.get("inertia"))

    @property
    def kind(self) -> tuple[int, int]:
        """Wheel and drive alone."""
        return self.wheel, self.drive


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Nominal value and the ends of its 95 % coverage interval; None: not computed."""

    nominal: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One stage count of the ladder: exit_speed [m/s], gain on the rung below [-], probability that the gain is
    worthwhile, length [m], mass [kg], cost, average_power [W]; kept: whether its best design keeps every limit;
    broken: names of the limits that no setting of so many stages was found to keep together; parts: of each stage,
    where there was something to choose; design: by name, of each stage, what was to be chosen from a range."""

    stages: int
    exit_speed: Interval
    gain: Interval | None = None
    probability_worthwhile: float | None = None
    length: float = 0.0
    mass: float | None = None
    cost: float | None = None
    average_power: float | None = None
    kept: bool = True
    broken: tuple[str, ...] = ()
    parts: tuple[Parts, ...] = ()
    design: Mapping[str, tuple[float, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How surely settings keep the hard limits, told by draws of what is uncertain.

    confidence: share of builds that shall keep them together [-]; kept: share that does; draws: how many were looked
    at; jams: share in which the projectile jams; mean_exit: of the draws, a jam counting as 0 [m/s]; at_confidence:
    value of each hard limit that this share of builds does not exceed (a floor: fall below), by name in its unit;
    reserve: least slack of each hard limit in the nominal build that keeps it so surely [-]; unkeepable: hard limits
    that more builds break than may, whatever the wheel speeds, with the share of builds that break them even at rest.
    """

    confidence: float
    kept: float
    draws: int
    jams: float
    mean_exit: float
    at_confidence: Mapping[str, float]
    reserve: Mapping[str, float]
    unkeepable: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Wheel speeds of a chain [m/s], shape (stages,), what they make, and the verdicts on it.

    wheel_speed: of side A; wheel_speed_b: of side B where spin is asked for, None: as A; spin: that is asked for
    [rad/s].
    """

    wheel_speed: Floats
    wheel_speed_b: Floats | None = None
    spin: float = 0.0
    design: OperatingPoint
    exit_speed: float
    verdicts: tuple[LimitResult, ...]
    length: float

    @property
    def throw(self) -> Throw:
        """The throw that they give."""
        return self.design.throw

    @property
    def lead(self) -> Floats:
        """Speeds of the leading wheels [m/s], the sides that drive the spin forward; see `spun`."""
        return self.wheel_speed if self.wheel_speed_b is None or self.spin > 0 else self.wheel_speed_b

    @property
    def beside(self) -> Floats:
        """Speeds of sides B [m/s]."""
        return self.wheel_speed if self.wheel_speed_b is None else self.wheel_speed_b

    @property
    def grip_limit(self) -> Floats:
        """Of each stage's leading wheel at its own entry speed [m/s], NaN where exit speed still rises at the end of
        the range."""
        limits = self.design.grip_limit
        return np.full(self.wheel_speed.shape, np.nan) if limits is None else limits

    @property
    def average_power(self) -> float | None:
        """What the supply delivers in the mean [W]; None where that is not known."""
        settled, holding = self.design.settled, self.design.holding
        if settled is not None:
            return float(settled.average_power)
        return None if holding is None else float(holding.power)

    @property
    def throttle(self) -> Floats | None:
        """Throttle of side A's motor, stage by stage [-]; None where drives or supply are not known."""
        return self._throttle(0)

    @property
    def throttle_b(self) -> Floats | None:
        """Of side B's, where a pair runs two speeds."""
        return self._throttle(1)

    def _throttle(self, side: int) -> Floats | None:
        train, holding = self.design.train, self.design.holding
        if train is None or holding is None or side not in train.side:
            return None
        return np.asarray(holding.throttle)[..., np.array(train.side) == side]

    @property
    def count(self) -> int:
        """Number of stages."""
        return int(self.wheel_speed.size)

    @property
    def feasible(self) -> bool:
        """Whether every limit is kept, and it spins as asked."""
        return self.turns and all(verdict.satisfied for verdict in self.verdicts)

    @property
    def turns(self) -> bool:
        """Whether it leaves with the spin that is asked for, if any, to a thousandth."""
        return self.spin == 0.0 or abs(float(self.throw.spin) / self.spin - 1.0) <= SPIN_WITHIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Robust:
    """Settings for a low `quantile` of exit speed: `low` [m/s] there, `low_before` at the nominal plan's settings;
    kept: share of builds that keep the limits, at least `kept_at_least` with 95 % confidence, kept_before: of the
    nominal plan's; all on draws that the choice has not seen. cost: share of nominal exit speed given up."""

    settings: Settings
    quantile: float
    low: float
    low_before: float
    kept: float
    kept_at_least: float
    kept_before: float
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontPoint:
    """The fastest plan for what it may cost: value in the front's unit, exit_speed [m/s], number of stages."""

    value: float | None
    exit_speed: float
    stages: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Front:
    """Exit speed against something else; points from the least to the most of it."""

    against: str
    unit: str
    points: tuple[FrontPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxation:
    """A limit in conflict with the goal: what it allows, what would do alone, what if all of them are loosened by one
    share; None: no value would."""

    name: str
    unit: str
    allowed: float
    needed: float | None
    together: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """Why no design fits. reason: in a sentence; proven: whether there is none, rather than none found; nearest: the
    design that comes nearest, None where not even the feed is within limits; conflict: names of the limits that
    keep the goal out of reach."""

    reason: str
    proven: bool
    nearest: Settings | None
    conflict: tuple[str, ...] = ()
    relaxations: tuple[Relaxation, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """Wheel and drive in all stages, by name, with design variables by name, those that were to be chosen from a range:
    exit speed [m/s] (None: no design fits) and number of stages; at_most: it cannot exceed that speed, so it was not
    looked at closely."""

    wheel: str
    drive: str
    exit_speed: float | None
    stages: int | None
    at_most: bool
    design: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Traded:
    """What wheels of a radius or inertia give, wheel speeds found anew; the first of each variable is the chosen one.

    variable : by name; value : of it, of the first stage with a choice, in its unit; exit_speed [m/s]; droop : greatest
    share of wheel speed that a throw takes [-]; spin_up [s], None where that is not known; length [m]; broken : names
    of the limits that no wheel speeds were found to keep, and then nothing else is told.
    """

    variable: str
    value: float
    exit_speed: float = 0.0
    droop: float = 0.0
    spin_up: float | None = None
    length: float = 0.0
    broken: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """What was chosen among: names of wheel and drive by stage, their numbers in the lists (0: as written); design:
    by name, of each stage, those that were to be chosen from a range; one_for_all, or mixed_gain: share of exit speed
    that parts of its own for each stage add [-]; asked: ends of the ranges, by name; traded: what a little more of a
    variable would change."""

    options: tuple[Option, ...]
    chosen: tuple[tuple[str, str], ...]
    numbers: tuple[Parts, ...]
    one_for_all: bool
    mixed_gain: float | None = None
    design: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    asked: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    traded: tuple[Traded, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The answer. `best` has the advised number of stages and is what is printed, saved and pinned; None where no
    design fits: `missed` then says why and what would help. fastest: the best of all stage counts.

    bound: what exit speed no setting within the limits exceeds; None: not asked for.
    binding: names of the limits that hold the plan back. prices by name: share of exit speed that 1 % more buys.
    one_more_stage: share of exit speed that it would add, where limits on what is built forbid it.
    spread: standard deviation over exit speed of the steadiest settings, spread_before: of those with the least heat.
    open_stage: the stage of which one cannot tell yet whether it is worthwhile; settled_by: the uncertain quantity
    that decides most of it. catalogue: what was chosen among, None where there was nothing to choose.
    flown: where the planned throw comes down, None where nothing of its flight is asked for.
    as_fed: no stage is built because the feed's own speed is what was asked for.
    """

    best: Settings | None
    ladder: tuple[Rung, ...]
    recommended_stages: int
    verdict: str
    missed: Missed | None = None
    binding: frozenset[str] = frozenset()
    bound: Bound | None = None
    prices: dict[str, float] = field(default_factory=dict)
    one_more_stage: float | None = None
    front: Front | None = None
    robust: Robust | None = None
    spread: float | None = None
    spread_before: float | None = None
    open_stage: int | None = None
    settled_by: str | None = None
    catalogue: Catalogue | None = None
    fastest: Settings | None = None
    margin: Margin | None = None
    left_open: tuple[str, ...] = ()
    flown: Flown | None = None
    as_fed: bool = False

    @property
    def nothing_fits(self) -> bool:
        """Whether no design keeps the limits, or none but the feed alone gets the projectile through."""
        return self.best is None or (self.best.count == 0 and not self.as_fed)
