"""Records of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from stager.bounds import Bound
from stager.constraints import LimitResult, OperatingPoint
from stager.constraints.drives import mean_power
from stager.model.arrays import Floats
from stager.optimise.draws import Flown
from stager.optimise.grip_limits import grip_limits_at
from stager.optimise.spin import SPIN_WITHIN
from stager.physics.records import Throw


class Parts(NamedTuple):
    """Parts of a stage.

    wheel, drive: index in the stage's lists, 0: as configured; crush [m], wheel radius [m], wheel inertia [kg m^2],
    None: as configured.
    """

    wheel: int
    drive: int
    crush: float | None = None
    radius: float | None = None
    inertia: float | None = None

    @property
    def design(self) -> dict[str, float]:
        """Values chosen from ranges, by name."""
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
    """A stage count of the ladder.

    exit_speed [m/s]; gain over the rung below [-]; probability_worthwhile: of that gain [-]; length [m]; mass [kg];
    average_power [W]; kept: the best design keeps every limit; broken: names of the limits that it breaks; parts: of
    each stage, where there was a choice; design: values of each stage chosen from ranges, by name.
    """

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
    """The share of possible builds in which settings keep the hard limits.

    confidence: share of builds that must keep them together [-]; kept: share that does; draws: number of builds drawn;
    jams, stays: shares in which the projectile jams, or stays in the outlet; mean_exit: mean exit speed, 0 for both
    [m/s]; at_confidence: value of each hard limit that the share `confidence` does not exceed (of a lower bound: fall
    below), by name in its unit; reserve: slack of each hard limit that the nominal build needs [-]; unkeepable: hard
    limits that too many builds break at any wheel speed, with the share of builds that break them at rest.
    """

    confidence: float
    kept: float
    draws: int
    jams: float
    stays: float
    mean_exit: float
    at_confidence: Mapping[str, float]
    reserve: Mapping[str, float]
    unkeepable: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownSpeeds:
    """Speeds of sides A and B with the digits that are shown, (2, stages): wheel_speed [m/s], rpm and indicated_rpm.

    indicated_rpm: what the tachometer shows. Each is rounded by itself, so that they differ by less than a digit.
    """

    wheel_speed: Floats
    rpm: Floats
    indicated_rpm: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Wheel speeds of a chain [m/s], shape (stages,), with their throw and the results of all limits.

    wheel_speed: of side A; wheel_speed_b: of side B where spin is asked for, None: as A; spin: asked for [rad/s];
    shown: speeds with the digits that are shown, None: not computed.
    """

    wheel_speed: Floats
    wheel_speed_b: Floats | None = None
    spin: float = 0.0
    design: OperatingPoint
    exit_speed: float
    verdicts: tuple[LimitResult, ...]
    length: float
    shown: ShownSpeeds | None = None

    @property
    def throw(self) -> Throw:
        """The throw at these settings."""
        return self.design.throw

    @property
    def lead(self) -> Floats:
        """Speeds of the leading wheels [m/s], the sides that drive the spin forward; see `spin`."""
        return self.wheel_speed if self.wheel_speed_b is None or self.spin > 0 else self.wheel_speed_b

    @property
    def beside(self) -> Floats:
        """Speeds of sides B [m/s]."""
        return self.wheel_speed if self.wheel_speed_b is None else self.wheel_speed_b

    @property
    def grip_limit(self) -> Floats:
        """Grip limit of each stage at its own entry speed [m/s], NaN where exit speed rises to the end of the range."""
        return self.design.once(grip_limits_at)

    @property
    def average_power(self) -> float | None:
        """Mean power of the supply [W]; None where that is not known."""
        power = mean_power(self.design)
        return None if power is None else float(power)

    @property
    def throttle(self) -> Floats | None:
        """Throttle of side A's motor by stage [-]; None where drives or supply are not known."""
        return self._throttle(0)

    @property
    def throttle_b(self) -> Floats | None:
        """Throttle of side B's motor by stage [-], where a pair runs two speeds."""
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
        """Whether every limit is kept, the spin that is asked for is reached, and the projectile leaves the outlet."""
        return self.leaves and self.turns and all(verdict.satisfied for verdict in self.verdicts)

    @property
    def leaves(self) -> bool:
        """Whether the projectile leaves the outlet; it need not where no stage throws it."""
        return not self.count or float(self.design.outlet_speed) > 0.0

    @property
    def turns(self) -> bool:
        """Whether the spin that is asked for, if any, is reached."""
        return self.spin == 0.0 or abs(float(self.throw.spin) / self.spin - 1.0) <= SPIN_WITHIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Robust:
    """Settings with the greatest low quantile of exit speed over builds, evaluated on fresh draws.

    quantile [-]; low, low_before: quantile of exit speed at these and at the plan's settings [m/s]; kept, kept_before:
    share of builds that keep the limits on throws at these and at the plan's settings; kept_at_least: lower 95 %
    confidence bound on `kept`; cost: share of nominal exit speed given up.
    """

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
    """A point of a Pareto front: value in the front's unit, exit_speed [m/s], stage count."""

    value: float | None
    exit_speed: float
    stages: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Front:
    """A Pareto front of exit speed against another quantity, points by its rising value."""

    against: str
    unit: str
    points: tuple[FrontPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxation:
    """A limit in conflict with the goal.

    allowed: its bound; needed: the bound needed if it alone is loosened; together: the same if all are loosened by one
    factor; None where no value is enough.
    """

    name: str
    unit: str
    allowed: float
    needed: float | None
    together: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """Why no design fits.

    reason: a sentence; proven: it is proven that none exists; nearest: nearest design, None where even the feed breaks
    limits; conflict: names of the limits in conflict with the goal.
    """

    reason: str
    proven: bool
    nearest: Settings | None
    conflict: tuple[str, ...] = ()
    relaxations: tuple[Relaxation, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """Parts shared by all stages: names of wheel and drive, values chosen from ranges by name.

    exit_speed [m/s] and stages: of its best design, None where none fits; at_most: exit_speed is an upper bound;
    not_judged: names of limits that cannot be judged with it, as an input is unknown.
    """

    wheel: str
    drive: str
    exit_speed: float | None
    stages: int | None
    at_most: bool
    design: Mapping[str, float] = field(default_factory=dict)
    not_judged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Traded:
    """Results with another wheel radius or inertia, wheel speeds optimised anew; first of each variable the plan's.

    The others stand below it down to the end of the range, then above it.

    variable : its name; value : of the first stage with a choice, in SI; exit_speed [m/s]; droop : greatest loss of
    wheel speed by a throw [-]; spin_up [s], None where not known; length [m]; broken : names of the limits that no
    wheel speeds were found to keep, JAMS alone where the projectile jams; the other results are missing then.
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
    """The choice of parts.

    options: each choice shared by all stages; chosen: names of wheel and drive by stage; numbers: their parts; design:
    values of each stage chosen from ranges, by name; one_for_all: all stages have the same parts; mixed_gain: gain of
    different parts over that [-]; asked: ranges by name; traded: results with other radii and inertias; not_judged:
    names of limits that cannot be judged with the chosen parts.
    """

    options: tuple[Option, ...]
    chosen: tuple[tuple[str, str], ...]
    numbers: tuple[Parts, ...]
    one_for_all: bool
    mixed_gain: float | None = None
    design: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    asked: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    traded: tuple[Traded, ...] = ()
    not_judged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A plan.

    best : settings with the recommended stage count, None where no design fits
    ladder : a rung for each stage count
    recommended_stages, verdict : how many stages to build, and why, in a sentence
    missed : why no design fits
    binding : names of the active limits that cost exit speed
    bound : upper bound on exit speed, None: not asked for
    prices : relative gain of exit speed for a limit 1 % looser, by name
    one_more_stage : gain of one more stage [-], where limits on what is built forbid it
    spread, spread_before : standard deviation over exit speed of the steadiest settings, of those with the least heat
    open_stage, settled_by : stage of which it is not clear yet whether it is worthwhile, and the uncertain quantity
        that decides most of it
    catalogue : choice of parts, None where there was none
    fastest : best settings of all stage counts
    left_open : work that a stopped search left undone
    flown : landing and scatter of shots, None where not asked for
    as_fed : no stage is built, as the feed has the asked speed
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
        """Whether no design keeps the limits, or only the feed alone does."""
        return self.best is None or (self.best.count == 0 and not self.as_fed)
