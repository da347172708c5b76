"""Evaluate settings in the full model: throw, grip limits, every limit that is set."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, LimitResult, OperatingPoint, asked_speed, evaluate_limits, speed_range
from stager.constraints.limit import ROUNDING, nothing_missing
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import LimitValues
from stager.optimise.records import Settings
from stager.optimise.spin import Turned, sides, way_of
from stager.physics.barrel import coupled
from stager.physics.chain import Options, length, throw, transit
from stager.physics.grip_limit import FINE, STANDARD, Coupled, Refinement, TransitFunction, TwoSpeeds, grip_limit
from stager.physics.records import FIELDS, Throw, Transit

JUDGED = Options(tolerance=1e-6)
"""Integration of throws near the answer of a search, and of samples."""
SOUGHT = Options(tolerance=1e-5)
"""Integration of throws while a search is far from its answer: exit speeds are accurate to about 3e-6 [-]."""
TIE = 2e-4
"""Relative difference below which exit speeds count as equal [-]."""
REACHED = 5e-4
"""Relative shortfall below which a speed that is asked for counts as reached [-]."""
ACTIVE = 1e-3
"""Slack below which a limit counts as active [-]."""
CHUNK = 256
"""Settings evaluated at once, which bounds memory."""
TABLED = 200
"""Entries of equal stages above which their grip limits are guessed from a table first."""
NODES = 24
"""Entry speeds of that table."""
BESIDE = Refinement(2, offsets=(-0.1, -0.01, 0.0, 0.01, 0.1), crossing_points=6)
"""Search beside such a guess."""


Use = Callable[[OperatingPoint], Floats | None]
"""Returns how much of a resource an operating point uses, None where that is not known."""


def least_speed(scenario: Scenario, short: float = REACHED) -> float | None:
    """Return the exit speed behind the last wheel that reaches the goal's, to a share `short` of it [m/s].

    None where the goal is the greatest exit speed; see `asked_speed`.
    """
    asked = asked_speed(scenario.launcher, scenario.goal, short)
    return None if asked is None else float(asked)


def settings_at(scenario: Scenario, lead: Floats, launcher: Launcher | None = None) -> Settings:
    """Return settings with leading wheels at `lead` [m/s], shape (stages,), with the result of every limit.

    launcher: with chosen parts; None: the scenario's.
    """
    machine, limit_values, spin = launcher or scenario.launcher, scenario.limit_values, scenario.goal.spin or 0.0
    lead = np.asarray(lead, dtype=np.float64)
    # Integrated as by `check`, which is to find every limit kept that is kept here.
    done = throw(machine, *sides(way_of(machine, limit_values, spin), machine, lead, JUDGED))
    point = OperatingPoint(
        launcher=machine, limit_values=limit_values, throw=done, grip_limit=grip_limits(machine, limit_values, done)
    )
    return Settings(
        wheel_speed=done.stages.wheel_speed_a if spin else lead,
        wheel_speed_b=done.stages.wheel_speed_b if spin else None,
        spin=spin, design=point, exit_speed=float(done.exit_speed), verdicts=verdicts(point),
        length=float(length(machine, lead.size)),
    )  # fmt: skip


def verdicts(point: OperatingPoint) -> tuple[LimitResult, ...]:
    """Return the results of all limits that are set."""
    return tuple(evaluate_limits(point))


def active(scenario: Scenario, best: Settings, one_more: Sequence[str]) -> frozenset[str]:
    """Return the names of the active limits.

    one_more: limits on what is built that one more stage would break; they count as active.
    """
    built = {limit.name for limit in LIMITS if limit.kind is Kind.DESIGN}
    held = {result.name for result in best.verdicts if abs(float(result.slack)) <= ACTIVE}
    return frozenset(held - built | set(one_more))


class _Entry(NamedTuple):
    """Entry of a stage, spin counted positive where its leading wheel drives it forward.

    speed [m/s]; spin before and after [rad/s]; gap: speed of the leading wheel less the other's [m/s]; turned: the
    stage changes the spin. chain: speeds of sides A and B of the stages before it where these still hold the projectile
    [m/s], else empty; gap is then that of side A to side B.
    """

    speed: float
    spin: float
    after: float
    gap: float
    turned: bool
    chain: tuple[tuple[float, ...], tuple[float, ...]] | tuple[()] = ()


def grip_limits(launcher: Launcher, limit_values: LimitValues, done: Throw) -> Floats:
    """Return the grip limit of each stage at its own entry in a throw [m/s], shape (stages,).

    It is the leading wheel's where a pair runs two speeds; NaN where exit speed still rises at the end of the range and
    the margin beyond it, and in stages that the projectile does not reach.
    """
    return grip_limits_of(launcher, limit_values, [done])[0]


def grip_limits_of(launcher: Launcher, limit_values: LimitValues, throws: Sequence[Throw]) -> list[Floats]:
    """Return the grip limits of several throws, see `grip_limits`; equal stages share the search."""
    out = [np.full(done.stages.grip.size, np.nan) for done in throws]
    kinds: dict[tuple[int, bool, bool, int], dict[_Entry, list[tuple[int, int]]]] = {}
    stages = range(max((one.size for one in out), default=0))
    different = {id(launcher.stage(k)): k for k in stages}
    top_of = {kind: np.max(speed_range(launcher, limit_values, k).top) for kind, k in different.items()}
    tops = [top_of[id(launcher.stage(k))] for k in stages]
    together = [coupled(launcher, k, np.full(1, tops[k])) for k in stages]
    for number, done in enumerate(throws):
        for k in range(done.stages.grip.size):
            entry = _coupled_entry(done, k) if together[k] else _entry(launcher, done, k)
            if entry.speed > 0:
                kind = id(launcher.stage(k)), entry.gap > 0, entry.turned, len(entry.chain) and k
                kinds.setdefault(kind, {}).setdefault(entry, []).append((number, k))
    for (_, apart, turned, _), group in kinds.items():
        speed, spin, after, gap = (np.array([entry[side] for entry in group]) for side in range(4))
        first = [places[0] for places in group.values()]
        top = np.full(speed.shape, tops[first[0][1]])
        making = Turned(after, bool(limit_values.grip_margin), top)
        way: TransitFunction = making if turned else TwoSpeeds(gap) if apart else transit
        if together[first[0][1]]:
            sides_of = np.array([entry.chain for entry in group])
            way = Coupled(tuple(sides_of[:, 0].T), tuple(sides_of[:, 1].T), gap)
        about, refinement = None, FINE
        if way is transit and speed.size > TABLED:
            about, refinement = _about(launcher, limit_values, first[0][1], speed, spin, top), BESIDE
        found = grip_limit(
            launcher, first[0][1], speed, spin, top, margin=limit_values.grip_margin, near=about, refinement=refinement,
            transit_function=way,
        ).wheel_speed  # fmt: skip
        for places, value in zip(group.values(), found, strict=True):
            for number, k in places:
                out[number][k] = value
    return out


def _about(
    launcher: Launcher, limit_values: LimitValues, index: int, speed: Floats, spin: Floats, top: Floats
) -> Floats:  # fmt: skip
    """Return first guesses of grip limits [m/s], interpolated between NODES entry speeds; arrays of shape (samples,).

    The guess is the end of the range where a neighbouring node has none.
    """
    order = np.argsort(speed)
    nodes = order[np.unique(np.linspace(0, speed.size - 1, NODES).round().astype(int))]
    known = grip_limit(
        launcher, index, speed[nodes], spin[nodes], top[nodes], margin=limit_values.grip_margin, refinement=STANDARD
    ).wheel_speed
    return np.interp(speed, speed[nodes], np.where(np.isnan(known), top[nodes], known))


def _entry(launcher: Launcher, done: Throw, k: int) -> _Entry:
    part, turn = done.stages, 1.0 if done.stages.a_leads[k] else -1.0
    speed, spin, after = float(part.entry_speed[k]), turn * float(part.entry_spin[k]), turn * float(part.exit_spin[k])
    gap = turn * float(part.wheel_speed_a[k] - part.wheel_speed_b[k])
    if not launcher.stage(k).layout.side_b_driven or gap == 0.0:
        return _Entry(speed, float(part.entry_spin[k]), 0.0, 0.0, turned=False)
    return _Entry(speed, spin, after, gap, turned=not part.spin_stays[k])


def _coupled_entry(done: Throw, k: int) -> _Entry:
    """Return the entry of a stage together with the stages before it, which still hold the projectile."""
    part = done.stages
    side_a, side_b = (tuple(side[:k].tolist()) for side in (part.wheel_speed_a, part.wheel_speed_b))
    gap = float(part.wheel_speed_a[k] - part.wheel_speed_b[k])
    return _Entry(float(part.entry_speed[k]), float(part.entry_spin[k]), 0.0, gap, turned=False, chain=(side_a, side_b))


@dataclass(frozen=True, slots=True)
class Judgements:
    """Results of many settings, shapes (settings,).

    exit_speed [m/s], 0 where it jams; slack: least slack of all limits that can be evaluated [-]; limit: name of the
    limit with that slack; unjudged: a limit that is set cannot be evaluated, see `not_judged`; jams_at_rate: throws at
    the feed's rate jam, though the first one does not.
    """

    exit_speed: Floats
    jammed: NDArray[np.bool_]
    slack: Floats
    limit: NDArray[np.str_]
    unjudged: NDArray[np.bool_]
    jams_at_rate: NDArray[np.bool_]


def judge_settings(scenario: Scenario, wheel_speed: Floats, wheel_speed_b: Floats | None = None) -> Judgements:
    """Evaluate every limit that is set at many settings.

    Parameters
    ----------
    wheel_speed : shape (settings, stages)
        Set surface speeds of sides A [m/s].
    wheel_speed_b : shape (settings, stages), optional
        Of sides B, where pairs run two speeds.
    """
    launcher, limit_values = scenario.launcher, scenario.limit_values
    parts = []
    for start in range(0, len(wheel_speed), CHUNK):
        rows = slice(start, start + CHUNK)
        done = throw(launcher, wheel_speed[rows], None if wheel_speed_b is None else wheel_speed_b[rows])
        grips = _grips_in_rows(launcher, limit_values, done) if limit_values.grip_margin else None
        point = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=done, grip_limit=grips)
        results, shape = {one.name: one for one in verdicts(point)}, done.exit_speed.shape
        missing = _missing(point)
        names = np.array(list(results))
        slack = np.array([np.broadcast_to(one.slack, shape) for one in results.values()])
        settles = np.array([[limit.settles] for limit in LIMITS if limit.name in results])
        unsettled = settles & np.isnan(slack) & ~done.jammed
        slack = np.nan_to_num(slack, nan=-1.0)
        lacks = unsettled | (np.array([missing[name] for name in names]) & (slack >= -ROUNDING))
        slack[lacks] = np.inf
        unknown = [lack for name, lack in missing.items() if name not in results]
        least = np.argmin(slack, axis=0)
        parts.append((
            done.exit_speed, done.jammed, slack[least, np.arange(least.size)], names[least],
            np.any([*lacks, *unknown], axis=0),
            ~done.jammed & (False if point.settled is None else point.settled.throw.jammed),
        ))  # fmt: skip
    return Judgements(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _missing(point: OperatingPoint) -> dict[str, NDArray[np.bool_]]:
    """Return whether each limit that is set lacks an input, by name, (throws,), for a point with one batch axis."""
    rows = [replace(point, throw=done, grip_limit=None) for done in _in_rows(point.throw)]
    asked = [limit for limit in LIMITS if limit.bound(point) is not None]
    complete = np.zeros(len(rows), bool)
    return {
        limit.name: complete if limit.missing is nothing_missing else
        np.array([limit.missing(row) is not None for row in rows])
        for limit in asked
    }  # fmt: skip


def _grips_in_rows(launcher: Launcher, limit_values: LimitValues, done: Throw) -> Floats:
    """Return the grip limits of throws with one batch axis [m/s], shape (throws, stages)."""
    return np.stack(grip_limits_of(launcher, limit_values, _in_rows(done)))


def _in_rows(done: Throw) -> list[Throw]:
    """Return throws with one batch axis as a list of single throws."""
    return [
        Throw(
            stages=Transit(**{name: getattr(done.stages, name)[row] for name in FIELDS}),
            exit_speed=done.exit_speed[row], spin=done.spin[row], jammed=done.jammed[row],
        )
        for row in range(done.exit_speed.size)
    ]  # fmt: skip
