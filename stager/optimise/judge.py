"""Evaluate settings in the full model: throw, every limit that is set."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, LimitResult, OperatingPoint, asked_speed, evaluate_limits
from stager.constraints.limit import ROUNDING, nothing_missing
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import LimitValues
from stager.optimise.grip_limits import grip_limits_of, operating_point
from stager.optimise.records import Settings
from stager.optimise.spin import sides, way_of
from stager.physics.chain import Options, length, throw
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
    point = operating_point(machine, limit_values, done)
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
