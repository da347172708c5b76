"""A chain of a given number of stages as an optimisation problem: variables, objective, slacks.

A stage's variable is the logarithm of its leading wheel's speed over the speed at which the stage throws fastest at its
entry speed. So the kink where a wheel just catches the projectile stays at 0 when an earlier stage changes, and all
later wheels move along. Where several stages hold the projectile at once there is no such entry speed; there the
variable is the logarithm of the ratio to the wheel before. Where crush, radius or inertia of wheels may be chosen, each
is a further variable, from 0 to 1 over its range: the same in all stages, or of each stage its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, Limit, LimitResult, OperatingPoint, exit_cap, slacks, speed_range
from stager.constraints.limit import ROUNDING
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import LimitValues
from stager.model.stage import Stage
from stager.optimise.clock import Clock
from stager.optimise.judge import JUDGED, Use
from stager.optimise.spin import Spun, way_of
from stager.physics.barrel import overlapping, run_up
from stager.physics.chain import QUICK, prepare, throw, transit
from stager.physics.grip_limit import STANDARD, TransitFunction, grip_limit
from stager.physics.parts import VARIABLES, Ends, free_variables, with_variables
from stager.physics.records import FIELDS, Grip, Throw, Transit, take

NODES = 24
"""Entry speeds of a table of fastest settings."""
BESIDE = 1.01
"""Second of the two entry speeds of a table for the feed speed alone, by that speed [-]."""
COARSE = 32
"""Wheel speeds at which the search for each of them begins."""
VARIABLE_NODES = {0: 1, 1: 7, 2: 7, 3: 5}
"""Nodes of each design variable of a stage, by the number of its design variables."""
SLOWEST = 0.02
"""Least wheel speed that is searched, over the fastest setting [-]."""
FASTEST = 1e4
"""Greatest wheel speed that is searched, over the fastest setting [-]."""
KEPT = 3e-7
"""Violation of a slack that the search accepts, less than the rounding of limits [-]."""
BELOW = 1e-6
"""Relative distance below an asked speed that settings keep [-]."""
JAM = 100.0
"""Violation of a jam [-]."""
UNKNOWN = 10.0
"""Greatest violation of one limit, and of one that was not evaluated [-]."""
NO_LIMIT = 1e3
"""Factor on the grip limit of the tables where there is none [-]."""
FAR = 0.5
"""Greatest change of the logarithm of that factor by the speeds of wheels before the stage [-]."""
TINY = 1e-9
"""Least wheel speed whose logarithm is taken [m/s]."""
NO_MARGINS: Mapping[str, float] = {}


class GripCorrection(NamedTuple):
    """Grip limits of the full model over those of the tables, near settings at which they were found.

    ratio: there [-], NO_LIMIT where there is none, (stages,); lead: speeds of the leading wheels there [m/s],
    (stages,); slopes: d ln ratio / d ln lead of each stage by each wheel, (stages, stages), 0 but where stages hold
    the projectile at once: tables know a stage by its entry speed, and wheels that still hold the projectile do more.
    """

    ratio: Floats
    lead: Floats
    slopes: Floats

    def at(self, lead: Floats) -> Floats:
        """Return the ratio at leading wheels [m/s], (..., stages)."""
        apart = np.log(np.maximum(lead, TINY) / self.lead) @ self.slopes.T
        return np.asarray(self.ratio * np.exp(np.clip(apart, -FAR, FAR)))


@dataclass(frozen=True)
class FastestTable:
    """Wheel speed at which a stage throws fastest, and its grip limit, by entry speed and design variables.

    entry : shape (nodes,); axes : design variables by number, with their nodes; fastest, grip : logarithms [ln m/s],
    (nodes, nodes of each design variable …), NaN where there is no grip limit.
    """

    entry: Floats
    axes: tuple[tuple[int, Floats], ...]
    fastest: Floats
    grip: Floats

    @cached_property
    def log_entry(self) -> Floats:
        """Logarithms of the entry speeds [ln m/s]."""
        return np.log(self.entry)

    def at(self, values: Floats, entry: Floats, design: Floats) -> Floats:
        """Return interpolated `values` [m/s] at entry speeds [m/s], (samples,), and design variables, (samples, …)."""
        speed = np.log(np.clip(entry, self.entry[0], self.entry[-1]))
        if not self.axes:
            # Most tables have entry speeds alone; this takes a quarter of the time.
            return np.exp(np.interp(speed, self.log_entry, values))
        places = [np.interp(speed, self.log_entry, np.arange(self.entry.size))]
        for m, nodes in self.axes:
            scale = np.log if VARIABLES[m].by_ratio else np.asarray
            places.append(np.interp(scale(design[:, m]), scale(nodes), np.arange(nodes.size)))
        lows = [np.minimum(place.astype(int), size - 2) for place, size in zip(places, values.shape, strict=True)]
        shares = [place - low for place, low in zip(places, lows, strict=True)]
        total = np.zeros(speed.shape)
        for corner in product((0, 1), repeat=len(places)):
            weight = np.ones(speed.shape)
            for share, upper in zip(shares, corner, strict=True):
                weight = weight * (share if upper else 1 - share)
            cell = tuple(low + upper for low, upper in zip(lows, corner, strict=True))
            total = total + weight * values[cell]
        return np.asarray(np.exp(total))


class FastestTables:
    """Tables of a scenario's stages, each computed at first use; margins: least slack of limits by name [-]."""

    def __init__(self, scenario: Scenario, margins: Mapping[str, float] = NO_MARGINS) -> None:
        self.scenario, self.margins = scenario, margins
        self._known: dict[Any, FastestTable] = {}
        self._tops: dict[Any, float] = {}

    def top(
        self, launcher: Launcher, limit_values: LimitValues, index: int, margins: Mapping[str, float], *, free: bool
    ) -> float:
        """Return the greatest speed of the wheel of stage `index` within its limits, of any design variables [m/s]."""
        key = launcher.stage(index), limit_values, tuple(sorted(margins.items())), free
        if key not in self._tops:
            over = spanned(launcher, index + 1) if free else launcher
            self._tops[key] = float(np.max(_top(over, limit_values, index, margins)))
        return self._tops[key]

    def of(self, launcher: Launcher, index: int, *, free: bool) -> FastestTable:
        """Return the table of stage `index`; free: over the ranges of its design variables."""
        stage = launcher.stage(index)
        key = stage, index > 0 and not self._alike(stage), index == 0 and bool(self.scenario.goal.spin), free
        if key not in self._known:
            self._known[key] = self._make(launcher, index, stage, free)
        return self._known[key]

    def _alike(self, stage: Stage) -> bool:
        """Whether the entry spin is the feed's behind other stages too, so that one table is enough."""
        return stage.layout.side_b_driven

    def _make(self, launcher: Launcher, index: int, stage: Stage, free: bool) -> FastestTable:
        limit_values, goal = self.scenario.limit_values, self.scenario.goal
        feed = float(launcher.feed.speed)
        chosen = [(VARIABLES.index(variable), variable) for variable in free_variables(stage)] if free else []
        count = VARIABLE_NODES[len(chosen)]
        axes = tuple((m, one.at(one.range(stage) or (0.0, 0.0), np.linspace(0.0, 1.0, count))) for m, one in chosen)
        grid = [place.ravel() for place in np.meshgrid(*(nodes for _, nodes in axes), indexing="ij")]
        ends = _top(_with(launcher, index, axes, grid), limit_values, index, self.margins)
        tops = np.broadcast_to(ends, (count ** len(axes),))
        cap = float(exit_cap(launcher, limit_values, self.margins))
        fastest = max(min(1.05 * cap, 1.1 * float(np.max(tops))), 1.5 * feed)
        # The first stage is entered at the feed speed; a table that other stages share goes on from there.
        alone = index == 0 and not self._alike(stage)
        entry = feed * np.array([1.0, BESIDE]) if alone else np.geomspace(0.3 * feed, fastest, NODES)
        lanes, node = np.repeat(entry, tops.size), np.tile(np.arange(tops.size), entry.size)
        here, top = _with(launcher, index, axes, [values[node] for values in grid]), np.asarray(tops[node])
        way = way_of(launcher, limit_values, goal.spin)
        spin = np.full(lanes.shape, float(launcher.feed.spin))
        if index and not goal.spin and not stage.layout.side_b_driven:
            rolled = transit(launcher, index, np.array([fastest / 3]), np.array([fastest / 2]), options=QUICK)
            if not rolled.jammed.any():
                spin = lanes * float(rolled.exit_spin[0] / rolled.exit_speed[0])
        found = grip_limit(
            here, index, lanes, spin, np.maximum(top, 1e-3), margin=limit_values.grip_margin, refinement=STANDARD,
            transit_function=way, grid_points=COARSE,
        )  # fmt: skip
        edge = np.where(found.peak_exit > 0, found.edge, np.nan)
        shape = (entry.size, *(nodes.size for _, nodes in axes))
        with np.errstate(divide="ignore", invalid="ignore"):
            # Between a node with a grip limit and one without there may be one.
            grip = _extended(np.log(found.wheel_speed).reshape(shape), range(len(shape)))
            peak = np.log(edge).reshape(shape)
        # Between nodes with and without a setting the table must not fall to nothing.
        for _ in range(count if axes else 0):
            peak = _extended(peak, range(1, len(shape)))
        bare = np.log(np.maximum(lanes, 1e-3)).reshape(shape)
        return FastestTable(entry, axes, np.where(np.isnan(peak), bare, peak), grip)


def _extended(values: Floats, axes: Sequence[int]) -> Floats:
    """Return a table (nodes, …) whose known values reach one node on along `axes`, the least of several."""
    padded = np.pad(values, 1, constant_values=np.nan)
    middle = [slice(1, -1)] * values.ndim
    around = [
        padded[(*middle[:axis], side, *middle[axis + 1 :])]
        for axis in axes for side in (slice(None, -2), slice(2, None))
    ]  # fmt: skip
    lowest = np.where(np.isnan(around), np.inf, around).min(axis=0)
    return np.where(np.isnan(values) & np.isfinite(lowest), lowest, values)


def _with(
    launcher: Launcher, index: int, axes: tuple[tuple[int, Floats], ...], values: Sequence[Floats]
) -> Launcher:  # fmt: skip
    """Return the launcher with design variables of stage `index`, and of all that are alike, over the samples."""
    if not axes:
        return launcher
    stage = launcher.stage(index)
    here = with_variables(stage, {VARIABLES[m].name: value for (m, _), value in zip(axes, values, strict=True)})
    stages = tuple(here if k == index else launcher.stage(k) for k in range(max(index + 1, len(launcher.stages))))
    return replace(launcher, stages=stages, template=launcher.template if launcher.template is not stage else here)


def _top(launcher: Launcher, limit_values: LimitValues, index: int, margins: Mapping[str, float]) -> Floats:
    return speed_range(launcher, limit_values, index, margins).top


SPANNED = 5
"""Nodes of each design variable at which a launcher is judged over its ranges."""


def spanned(launcher: Launcher, count: int) -> Launcher:
    """Return the launcher over a grid of its design variables, at equal shares of each stage's ranges."""
    names = sorted({variable.name for k in range(count) for variable in free_variables(launcher.stage(k))})
    if not names:
        return launcher
    grid = np.meshgrid(*[np.linspace(0.0, 1.0, SPANNED)] * len(names), indexing="ij")
    shares = dict(zip(names, (place.ravel() for place in grid), strict=True))
    stages = []
    for stage in (launcher.stage(k) for k in range(max(count, len(launcher.stages)))):
        free = {one.name: one.at(ends, shares[one.name]) for one in free_variables(stage) if (ends := one.range(stage))}
        stages.append(with_variables(stage, free))
    return replace(launcher, stages=tuple(stages), template=stages[-1] if stages else launcher.template)


class Choice(NamedTuple):
    """A variable of the search: a design variable, by number, of some stages, between `ends`."""

    variable: int
    stages: tuple[int, ...]
    ends: Ends

    def at(self, share: Floats) -> Floats:
        """Return the value at a share of the range."""
        return VARIABLES[self.variable].at(self.ends, share)

    def share(self, value: float) -> float:
        """Return the share of the range at which a value lies."""
        return VARIABLES[self.variable].share(self.ends, value)


@dataclass(frozen=True, slots=True)
class Budget:
    """A greatest use of a resource: `value` in the unit of `used`."""

    used: Use
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Evaluated samples of the variables, first axis over the samples.

    x : variables, (samples, variables)
    lead : leading wheels [m/s], (samples, stages)
    design : design variables, (samples, stages, design variables), NaN where none is to be chosen
    exit_speed [m/s], heat [J] : (samples,)
    slack : slack of each limit less the margin asked for [-], (samples, limits)
    violation : sum of the violations [-], 0 where feasible, (samples,)
    """

    x: Floats
    lead: Floats
    design: Floats
    exit_speed: Floats
    heat: Floats
    slack: Floats
    violation: Floats
    jammed: NDArray[np.bool_]

    def take(self, rows: NDArray[np.intp] | list[int]) -> Trial:
        """Return the chosen samples."""
        return Trial(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})

    def join(self, other: Trial) -> Trial:
        """Return these and the others."""
        return Trial(
            **{name: np.concatenate([getattr(self, name), getattr(other, name)]) for name in self.__dataclass_fields__}
        )

    def __len__(self) -> int:
        return int(self.exit_speed.size)


class Problem:
    """A chain of `count` stages under the limits of a scenario.

    launcher : with chosen parts; margins : least slack of limits by name [-]; choose : None, "common" (design variables
    with a range are chosen, one value for all stages) or "own" (one value for each stage); clock : no limit if None.
    """

    def __init__(
        self, scenario: Scenario, count: int, *, launcher: Launcher | None = None, tables: FastestTables | None = None,
        margins: Mapping[str, float] = NO_MARGINS, choose: str | None = None, clock: Clock | None = None,
    ) -> None:  # fmt: skip
        self.scenario, self.count, self.margins, self.choose = scenario, count, margins, choose
        self.clock = clock or Clock()
        self.launcher = scenario.launcher if launcher is None else launcher
        self.limit_values = scenario.limit_values
        self.tables = tables or FastestTables(scenario)
        self._tables: dict[int, FastestTable] = {}
        self.stages = [self.launcher.stage(k) for k in range(count)]
        self.choices = choices(self.stages, own=choose == "own") if choose else []
        self.free = {k for choice in self.choices for k in choice.stages}
        self.size = count + len(self.choices)
        free = spanned(self.launcher, count) if self.choices else self.launcher
        self.tops = np.array(
            [
                self.tables.top(self.launcher, self.limit_values, k, margins, free=bool(self.choices))
                for k in range(count)
            ]
        )
        self.joint = count > 1 and overlapping(free, count, self.tops[:1])
        self.way: TransitFunction = way_of(self.launcher, self.limit_values, scenario.goal.spin)
        self.grip_correction = GripCorrection(np.ones(count), np.ones(count), np.zeros((count, count)))
        self.grip_found = np.full(count, np.nan)
        """Grip limits of the stages where the tables know of none [m/s]."""
        self.low = np.append(np.full(count, np.log(SLOWEST)), np.zeros(self.size - count))
        self.high = np.append(np.full(count, np.log(FASTEST)), np.ones(self.size - count))
        if self.joint:
            # The first ratio is to the feed speed, which wheels may exceed many times.
            self.high[0] = max(np.log(self.tops[0] / float(self.launcher.feed.speed)), self.low[0] + 1.0)
        self.budget: Budget | None = None
        self.options = JUDGED
        self._steady_rows: int | None = None
        self._driven_rows: dict[str, int] = {}

    def continue_from(self, shorter: Problem) -> None:
        """Take over what a chain of one stage less has found about grip limits; the last stage is as the one before."""
        known = shorter.grip_correction
        if known.ratio.size == self.count - 1:
            ratio = np.where(known.ratio < NO_LIMIT, known.ratio, 1.0)
            self.grip_correction = GripCorrection(
                np.append(ratio, ratio[-1:]), np.append(known.lead, known.lead[-1:]), np.pad(known.slopes, (0, 1))
            )

    def leave(self, verdicts: Sequence[LimitResult]) -> None:
        """Leave more slack of limits that are broken at settings which keep them here: as much as is missing."""
        missing = {one.name: -float(np.min(one.slack)) for one in verdicts if not one.satisfied}
        more = {name: self.margins.get(name, 0.0) + short + ROUNDING for name, short in missing.items()}
        self.margins = {**self.margins, **more}

    # Variables.

    def design(self, x: Floats) -> Floats:
        """Return design variables from variables, (samples, stages, design variables), NaN where none is chosen."""
        out = np.full((len(x), self.count, len(VARIABLES)), np.nan)
        for number, choice in enumerate(self.choices, self.count):
            value = choice.at(x[:, number])
            for k in choice.stages:
                ends = VARIABLES[choice.variable].range(self.stages[k]) or choice.ends
                out[:, k, choice.variable] = np.clip(value, *ends)
        return out

    def design_variables(self, design: Floats) -> Floats:
        """Return variables from design variables, (stages, design variables); 0.5 where NaN. Shape (choices,)."""
        given = [(choice, design[choice.stages[0], choice.variable]) for choice in self.choices]
        return np.array([0.5 if np.isnan(value) else choice.share(float(value)) for choice, value in given])

    def adopt(self, trial: Trial) -> Floats:
        """Return the variables nearest to a trial of a problem with other parts or choices, (samples, size)."""
        extra = [self.design_variables(design) for design in trial.design]
        return np.asarray(np.clip(np.hstack([trial.x[:, : self.count], extra]), self.low, self.high))

    @property
    def written(self) -> Floats:
        """Design variables as in the configuration, (stages, design variables), NaN where none is to be chosen."""
        out = np.full((self.count, len(VARIABLES)), np.nan)
        for choice in self.choices:
            for k in choice.stages:
                out[k, choice.variable] = float(np.mean(VARIABLES[choice.variable].value(self.stages[k])))
        return out

    def machine(self, design: Floats) -> Launcher:
        """Return the launcher with design variables, (samples, stages, design variables) or without samples."""
        if not self.choices:
            return self.launcher
        stages = []
        for k, stage in enumerate(self.stages):
            chosen = ((VARIABLES[m].name, design[..., k, m]) for m, which, _ in self.choices if k in which)
            stages.append(with_variables(stage, {name: one if one.ndim else float(one) for name, one in chosen}))
        return replace(self.launcher, stages=tuple(stages))

    # Trials.

    def look(self, x: Floats) -> Trial:
        """Throw at variables `x`, shape (samples, size), and evaluate every limit that is set."""
        x = np.clip(x, self.low, self.high)
        return self._judge(x, None)

    def look_at(self, lead: Floats, extra: Floats | None = None) -> Trial:
        """Do as `look` at leading wheel speeds [m/s], (samples, stages); extra: variables of the choices."""
        extra = np.tile(self.design_variables(self.written) if extra is None else extra, (len(lead), 1))
        return self._judge(np.hstack([np.zeros(lead.shape), extra]), np.minimum(lead, self.tops))

    def _judge(self, x: Floats, lead: Floats | None) -> Trial:
        self.clock.check()
        x, lead, design, point = self._thrown(x, lead)
        done = point.throw
        slack, violation = self._slacks(point, point.launcher)
        return Trial(
            x=x, lead=lead, design=design, exit_speed=done.exit_speed,
            heat=np.where(done.jammed, np.inf, done.stages.slip_heat.sum(axis=-1)),
            slack=slack, violation=violation, jammed=done.jammed,
        )  # fmt: skip

    def _thrown(self, x: Floats, lead: Floats | None) -> tuple[Floats, Floats, Floats, OperatingPoint]:
        """Throw at variables or leading wheels; return variables, leading wheels, design variables and the point."""
        design = self.design(x)
        machine = self.machine(design)
        if self.joint:
            x, lead, done = self._held(machine, x, lead)
        else:
            x, lead, done = self._passed(machine, x, lead, design)
        grips = None
        if self.limit_values.grip_margin:
            grips = self.table_grip_limits(done.stages.entry_speed, design) * self.grip_correction.at(lead)
            grips = np.where(np.isnan(grips), self.grip_found, grips)
        point = OperatingPoint(
            launcher=machine, limit_values=self.limit_values, throw=done, options=self.options,
            grip_limit=grips,
        )  # fmt: skip
        return x, lead, design, point

    def _slacks(self, point: OperatingPoint, machine: Launcher) -> tuple[Floats, Floats]:
        """Return slacks (samples, limits) and violations (samples,).

        Limits on drives and supply are costly, so they are evaluated only where all others are nearly kept.
        """
        done = point.throw
        shape = done.exit_speed.shape
        rows = [np.ones(shape)]
        if (asked := self.scenario.goal.asked) is not None:
            # Behind the outlet, where a share of the speed may be much more than behind the wheel.
            rows.append(np.minimum(asked * (1.0 - BELOW) / np.maximum(point.outlet_speed, 1e-9) - 1.0, UNKNOWN))
        if isinstance(self.way, Spun):
            rows.append(1.0 - np.abs(np.abs(done.spin) / abs(self.way.spin) - 1.0) / 1e-3)
        for limit in LIMITS:
            if limit.kind is Kind.THROW or (limit.kind in (Kind.WHEEL, Kind.DESIGN) and self.choices):
                self._append(rows, limit, point, shape)
            elif limit.turning:
                self._append_driven(rows, limit, point, shape)
        if point.launcher.supply is None:
            self._spend(rows, point, shape)
        slack = _finite(rows)
        jam = np.where(done.jammed, JAM + (done.stages.grip == Grip.NOT_REACHED).sum(axis=-1), 0.0)
        violation = np.clip(-slack - KEPT, 0.0, UNKNOWN).sum(axis=-1) + jam
        steady = [limit for limit in LIMITS if limit.kind is Kind.STEADY]
        fine = np.flatnonzero(violation < 0.05)
        if fine.size and point.launcher.supply is not None:
            rows_of = done if fine.size == len(jam) else _rows(done, fine)
            here = machine if fine.size == len(jam) else take(machine, fine)
            sub = OperatingPoint(
                launcher=here, limit_values=self.limit_values, throw=rows_of, options=self.options,
                whole=self.joint or self.count == 1 or self.limit_values.settled_loss is None,
            )  # fmt: skip
            found: list[Floats] = []
            for limit in steady:
                self._append(found, limit, sub, fine.shape)
            self._spend(found, sub, fine.shape)
            if found:
                more = np.full((*shape, len(found)), -1.0)
                more[fine] = _finite(found)
                slack = np.concatenate([slack, more], axis=-1)
                violation[fine] += np.clip(-more[fine] - KEPT, 0.0, UNKNOWN).sum(axis=-1)
                rest = np.ones(shape, bool)
                rest[fine] = False
                violation[rest] += UNKNOWN
        elif point.launcher.supply is not None:
            slack = np.concatenate([slack, np.full((*shape, self._steady()), -1.0)], axis=-1)
            violation += UNKNOWN
        return slack, violation

    def _steady(self) -> int:
        """Return the number of slacks of limits on steady throwing that are set."""
        if self._steady_rows is None:
            probe = throw(self.launcher, 0.5 * self.tops[None], options=QUICK)
            point = OperatingPoint(launcher=self.launcher, limit_values=self.limit_values, throw=probe, options=JUDGED)
            found = (slacks(limit, point) for limit in LIMITS if limit.kind is Kind.STEADY)
            self._steady_rows = sum(one.shape[-1] for one in found if one is not None)
        return self._steady_rows + (self.budget is not None)

    def _spend(self, rows: list[Floats], point: OperatingPoint, shape: tuple[int, ...]) -> None:
        """Append the slack of the budget, where there is one."""
        if self.budget is not None and (used := self.budget.used(point)) is not None:
            rows.append(np.broadcast_to(1.0 - used / self.budget.value, shape))

    def _append(self, rows: list[Floats], limit: Limit, point: OperatingPoint, shape: tuple[int, ...]) -> None:
        """Append the slacks of a limit, where it is set: of each stage where it is one of the stages."""
        found = slacks(limit, point)
        if found is not None:
            margin = self.margins.get(limit.name, 0.0)
            each = np.broadcast_to(found, (*shape, found.shape[-1])) - margin
            rows += [each[..., k] for k in range(each.shape[-1])]

    def _append_driven(
        self, rows: list[Floats], limit: Limit, point: OperatingPoint, shape: tuple[int, ...]
    ) -> None:  # fmt: skip
        """Append the slacks of a limit on turning wheels where the projectile drives one, 1 elsewhere.

        Ranges of the set speeds keep it where none is driven; so it is computed only where one is.
        """
        driven = (point.turning > point.fastest).any(axis=-1)
        known = self._driven_rows.get(limit.name)
        if known is None or (known and driven.any()):
            found: list[Floats] = []
            self._append(found, limit, point, shape)
            self._driven_rows[limit.name] = len(found)
            rows += [np.where(driven, one, 1.0) for one in found]
        else:
            rows += [np.ones(shape)] * known

    def _passed(
        self, machine: Launcher, x: Floats, lead: Floats | None, design: Floats
    ) -> tuple[Floats, Floats, Throw]:
        """Throw stage by stage; return variables, leading wheels and throw."""
        samples, count = len(x), self.count
        prepare(machine, count)  # All stages at once; each stage then takes its part.
        feed = np.broadcast_to(np.asarray(self.launcher.feed.speed, dtype=np.float64), (samples,))
        speed, spin = feed.copy(), np.full(samples, float(self.launcher.feed.spin))
        alive = np.ones(samples, bool)
        x = x.copy()
        wheels = np.zeros((samples, count))
        fields = {name: np.zeros((samples, count), np.int8 if name == "grip" else np.float64) for name in FIELDS}
        fields["grip"][:] = Grip.NOT_REACHED
        for k in range(count):
            table = self._table(k)
            best = table.at(table.fastest, speed, design[:, k])
            if lead is None:
                wheels[:, k] = np.minimum(np.exp(x[:, k]) * best, self.tops[k])
            else:
                wheels[:, k] = np.minimum(lead[:, k], self.tops[k])
                with np.errstate(divide="ignore"):
                    x[:, k] = np.clip(np.log(wheels[:, k] / best), self.low[k], self.high[k])
            who = np.flatnonzero(alive)
            if not who.size:
                continue
            # Those that come to a stage alike are thrown once: a model changes one variable at a time.
            one, each = _alike(speed[who], spin[who], wheels[who, k], design[who, k])
            here = machine if one.size == samples else take(machine, who[one])
            done = self.way(
                here, k, speed[who[one]], wheels[who[one], k], entry_spin=spin[who[one]], options=self.options
            )
            for name in FIELDS:
                fields[name][who, k] = getattr(done, name)[each]
            alive[who] = ~done.jammed[each]
            speed = np.where(alive, fields["exit_speed"][:, k], 1.0)
            spin = np.where(alive, fields["exit_spin"][:, k], 0.0)
            if k + 1 < count and self.launcher.guide is not None:
                speed = np.where(alive, run_up(machine, k + 1, speed, wheels[:1, k]), 1.0)
        done_all = Throw(
            stages=Transit(**fields), exit_speed=np.where(alive, fields["exit_speed"][:, -1], 0.0),
            spin=np.where(alive, fields["exit_spin"][:, -1], 0.0), jammed=~alive,
        )  # fmt: skip
        return x, wheels, done_all

    def table_grip_limits(self, entry: Floats, design: Floats) -> Floats:
        """Return the grip limits by the tables [m/s], (samples, stages), NaN where they have none.

        entry : entry speeds [m/s], (samples, stages); design : (samples, stages, design variables).
        """
        tables = [self._table(k) for k in range(self.count)]
        found = [table.at(table.grip, entry[:, k], design[:, k]) for k, table in enumerate(tables)]
        return np.stack(found, axis=-1)

    def _table(self, index: int) -> FastestTable:
        """Return the table of a stage, which is looked up once: comparing stages takes longer than a throw."""
        if index not in self._tables:
            self._tables[index] = self.tables.of(self.launcher, index, free=index in self.free)
        return self._tables[index]

    def _held(self, machine: Launcher, x: Floats, lead: Floats | None) -> tuple[Floats, Floats, Throw]:
        """Throw where several stages hold the projectile at once; return variables, leading wheels and throw."""
        x = x.copy()
        reference = float(self.launcher.feed.speed)
        if lead is None:
            lead = np.minimum(reference * np.exp(np.cumsum(x[:, : self.count], axis=1)), self.tops)
        else:
            before = np.hstack([np.full((len(lead), 1), reference), lead[:, :-1]])
            x[:, : self.count] = np.clip(np.log(lead / before), self.low[: self.count], self.high[: self.count])
        return x, lead, throw(machine, lead, options=self.options)


def choices(stages: Sequence[Stage], *, own: bool) -> list[Choice]:
    """Return the choices of design variables: one for all stages, or one for each stage."""
    found = []
    for m, variable in enumerate(VARIABLES):
        ends = {k: one for k, stage in enumerate(stages) if (one := variable.range(stage)) is not None}
        if own:
            found += [Choice(m, (k,), one) for k, one in ends.items()]
        elif ends:
            widest = min(low for low, _ in ends.values()), max(high for _, high in ends.values())
            found.append(Choice(m, tuple(ends), widest))
    return found


def _alike(*columns: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first of each group of equal samples, and the group of each sample; in order where all differ.

    columns : values, (samples, …).
    """
    values = np.column_stack(columns)
    rows = values.view(f"V{values.itemsize * values.shape[1]}")[:, 0]
    _, one, each = np.unique(rows, return_index=True, return_inverse=True)
    order = np.arange(len(values))
    return (order, order) if one.size == order.size else (one, each)


def _finite(rows: Sequence[Floats]) -> Floats:
    """Return slacks side by side, (samples, limits): -1 where a jam leaves none, at most `UNKNOWN` where infinite."""
    return np.asarray(np.nan_to_num(np.stack(rows, axis=-1), nan=-1.0, posinf=UNKNOWN, neginf=-UNKNOWN))


def _rows(done: Throw, rows: NDArray[np.intp]) -> Throw:
    """Return the chosen samples of throws."""
    stages = Transit(**{name: getattr(done.stages, name)[rows] for name in FIELDS})
    return Throw(stages=stages, exit_speed=done.exit_speed[rows], spin=done.spin[rows], jammed=done.jammed[rows])
