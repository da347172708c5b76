"""From the maps' best settings to wheel speeds that keep every limit in the true model.

Maps are a little off. Each round throws the chains that the maps call best, notes what true values are as multiples
of the maps', and solves again with the limits held on the corrected maps, until nothing moves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from stager.constraints import LIMITS, Limit, LimitResult, OperatingPoint, evaluate
from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.extend import extended
from stager.optimise.foretold import COUPLED
from stager.optimise.records import Settings
from stager.optimise.rows import grips_of, throw_rows
from stager.optimise.shared import Law
from stager.optimise.solve import Chains, Correction, Task, grown, solve
from stager.optimise.spun import way_of
from stager.optimise.trust import Found
from stager.physics.chain import length
from stager.physics.options import Options
from stager.physics.records import Throw

JUDGED = Options(tolerance=2e-6)
ROUNDS = 8
SETTLED = 1e-5
STRAINED, LITTLE = 0.98, 0.01
HAIRS = np.array([1.0, 1.01, 1.1, 1.5, 3.0, 10.0])
"""By how much wheels are slowed, in multiples of what a limit seems to take."""
MOST_SLOWED = 0.1
LOCAL = tuple(limit for limit in LIMITS if limit.name not in COUPLED)


@dataclass(slots=True)
class Climber:
    """A stage count on its way: what it must keep, with the maps' corrections; where the maps have it best; what that
    makes in the true model; the coupled limits about it, where they hold it back; whether the settings come from the
    true model alone and not from the maps; the fastest settings so far that keep its limits, and that do not quite."""

    task: Task
    found: Found
    settings: Settings
    law: Law | None = None
    apart: bool = False
    kept: Settings | None = None
    broken: Settings | None = None

    @property
    def to_and_fro(self) -> bool:
        """Whether it has come to keep its limits and breaks them again: nearly as good settings lie apart."""
        return self.kept is not None and not _keeps(self.settings)

    def note(self) -> None:
        """Remember its settings, if they are the fastest of their kind."""
        if _keeps(self.settings):
            self.kept = _faster(self.kept, self.settings)
        else:
            self.broken = _faster(self.broken, self.settings)


def _faster(one: Settings | None, two: Settings) -> Settings:
    return two if one is None or two.exit_speed > one.exit_speed else one


def settle(
    scenario: Scenario, chains: Chains, counts: Sequence[int], task: Task, seen: Callable[[float], None] | None = None
) -> list[Climber]:
    """The best settings for each of `counts`, as far up as something gets through, with all but coupled limits kept.

    seen: called with the greatest exit speed that the maps promise [m/s], all wheels at the most that is open to them,
    and again within all limits.
    """
    found: list[Found] = []
    if seen is not None:
        seen(float(chains.run(np.ones((1, max(counts)))).exit_speed.max()))
    for count in counts:
        shorter = found[-1].point if found else np.zeros(0)
        guess = grown(chains, shorter, task) if shorter.size == count - 1 else None
        best = solve(chains, count, task, guess=guess)
        if best is None:
            break
        found.append(best)
    if seen is not None:
        seen(max((float(chains.run(one.point[None]).exit_speed[0, -1]) for one in found), default=0.0))
    thrown = thrown_as(scenario, chains, found, limits=LOCAL)
    climbers = [Climber(task, one, made) for one, made in zip(found, thrown, strict=True)]
    moving = climbers
    for _ in range(ROUNDS):
        for climber in moving:
            climber.note()
        moving = [each for each in moving if not each.to_and_fro and _adjust(scenario, chains, each)]
        if not moving:
            break
        again = thrown_as(scenario, chains, [each.found for each in moving], [each.task for each in moving], LOCAL)
        for climber, made in zip(moving, again, strict=True):
            climber.settings = made
    for climber in climbers:
        climber.note()
        if not _keeps(climber.settings) and climber.broken is not None:
            climber.settings = _slowed(scenario, climber.broken, climber.kept)
    _extend(scenario, climbers)
    for climber in climbers:
        verdicts = _verdicts(climber.settings.design, LIMITS)
        climber.settings = replace(climber.settings, verdicts=verdicts)
    return climbers


def _slowed(scenario: Scenario, broken: Settings, kept: Settings | None) -> Settings:
    """All wheels a hair slower than in `broken`, the fastest that keep its limits, or `kept` where that is faster; no
    change where there is neither."""
    stages, grips = broken.throw.stages, broken.grip_limit
    speeds = stages.wheel_speed_b if broken.spin < 0 else stages.wheel_speed_a
    over = _broken(broken)
    most = max(over.values())
    first = judged(scenario, [speeds * (1 - min(most, MOST_SLOWED))], [grips], LOCAL)[0]
    slack = _slacks(first)
    # A limit that hardly feels it is given ten times as much.
    needed = max(most * by / max(by + slack[name], 0.1 * by) for name, by in over.items())
    chains = [speeds * (1 - min(share * needed, MOST_SLOWED)) for share in HAIRS]
    made = [one for one in (first, *judged(scenario, chains, [grips] * len(chains), LOCAL)) if _keeps(one)]
    made += [] if kept is None else [kept]
    return max(made, key=lambda one: one.exit_speed, default=broken)


def _broken(settings: Settings) -> dict[str, float]:
    """By how much each broken limit is broken, as a share of it."""
    slacks = _slacks(settings)
    return {verdict.name: -slacks[verdict.name] for verdict in _own(settings) if not verdict.satisfied}


def _slacks(settings: Settings) -> dict[str, float]:
    """By limit that is not coupled; one that is not a number counts as wholly broken."""
    return {verdict.name: float(np.nan_to_num(verdict.slack, nan=-1.0)) for verdict in _own(settings)}


def _own(settings: Settings) -> list[LimitResult]:
    return [verdict for verdict in settings.verdicts if verdict.name not in COUPLED]


def _keeps(settings: Settings) -> bool:
    return all(verdict.satisfied for verdict in _own(settings))


def _extend(scenario: Scenario, climbers: Sequence[Climber]) -> None:
    """Where acceleration holds wheels back, or a stage adds little: chains of one stage less with one more, where that
    is faster."""
    for shorter, climber in pairwise(climbers):
        strained = climber.settings.throw.stages.peak_acceleration.max() > STRAINED * climber.task.strain
        if not (strained or _adds_little(scenario, shorter, climber)) or not _keeps(shorter.settings):
            continue
        chain = extended(scenario, shorter.settings.wheel_speed, climber.task)
        if chain is None:
            continue
        grips = np.append(shorter.settings.grip_limit, np.nan)
        made = judged(scenario, [chain], [np.where(np.isnan(grips), chain, grips)], LOCAL)[0]
        slower = made.exit_speed <= climber.settings.exit_speed * (1 + SETTLED) and _keeps(climber.settings)
        if _keeps(made) and not slower:
            climber.settings, climber.apart = made, True


def _adds_little(scenario: Scenario, shorter: Climber, climber: Climber) -> bool:
    """Whether one stage more adds little below the cap: near their entry speed wheels are not well told by maps."""
    before, after = shorter.settings.exit_speed, climber.settings.exit_speed
    return not scenario.goal.spin and after < before * (1 + LITTLE) and after < climber.task.cap * (1 - LITTLE)


def thrown_as(
    scenario: Scenario, chains: Chains, found: Sequence[Found], tasks: Sequence[Task] | None = None,
    limits: Sequence[Limit] = LIMITS,
) -> list[Settings]:  # fmt: skip
    """What the settings make in the true model, judged by `limits`."""
    grips = [None] * len(found) if tasks is None else [task.correction.grip for task in tasks]
    runs = [chains.run(one.point[None], grip) for one, grip in zip(found, grips, strict=True)]
    return judged(scenario, [run.wheel_speed[0] for run in runs], [run.grip_limit[0] for run in runs], limits)


def _adjust(scenario: Scenario, chains: Chains, climber: Climber) -> bool:
    """Correct the task by what was thrown and solve again; False where that would not matter."""
    correction = compare(scenario, chains, climber)
    if _keeps(climber.settings) and _close(correction, climber.task.correction, climber.task):
        return False
    climber.task = replace(climber.task, correction=correction)
    climber.found = solve(chains, climber.settings.count, climber.task, climber.found.point) or climber.found
    return True


def with_grips(scenario: Scenario, chains: Chains, climbers: Sequence[Climber]) -> list[Settings]:
    """Settings with grip limits beside them, also where no margin is asked for."""
    settled = [climber.settings for climber in climbers]
    if scenario.limit_values.grip_margin:
        return settled
    near = [_about(chains, climber) for climber in climbers]
    grips = grips_of(scenario.launcher, scenario.limit_values, [done.throw for done in settled], near)
    return [
        replace(done, design=replace(done.design, grip_limit=grip)) for done, grip in zip(settled, grips, strict=True)
    ]


def _about(chains: Chains, climber: Climber) -> Floats:
    """Grip limits [m/s] by the maps."""
    if climber.apart:
        run = chains.at(climber.settings.wheel_speed[None])
    else:
        run = chains.run(climber.found.point[None], climber.task.correction.grip)
    return np.asarray(run.grip_limit[0])


def judged(
    scenario: Scenario, chains: Sequence[Floats], near: Sequence[Floats] | None = None,
    limits: Sequence[Limit] = LIMITS,
) -> list[Settings]:  # fmt: skip
    """Chains at their leading wheels' speeds [m/s], each of shape (stages,), with the verdicts of `limits`.

    near: about where the grip limits must be [m/s]; they are looked for where a margin to them is asked for.
    """
    launcher, limit_values = scenario.launcher, scenario.limit_values
    spin = scenario.goal.spin or 0.0
    throws = throw_rows(launcher, chains, JUDGED, way_of(launcher, limit_values, spin))
    found = []
    margins = grips_of(launcher, limit_values, throws, near) if limit_values.grip_margin else _unknown(chains)
    for speeds, done, grips in zip(chains, throws, margins, strict=True):
        design = OperatingPoint(launcher=launcher, limit_values=limit_values, throw=done, grip_limit=grips, options=JUDGED)
        found.append(
            Settings(
                wheel_speed=done.stages.wheel_speed_a if spin else speeds,
                wheel_speed_b=done.stages.wheel_speed_b if spin else None,
                spin=spin, design=design, exit_speed=float(done.exit_speed),
                verdicts=_verdicts(design, limits), length=float(length(launcher, speeds.size)),
            )
        )  # fmt: skip
    return found


def _verdicts(design: OperatingPoint, limits: Sequence[Limit]) -> tuple[LimitResult, ...]:
    return tuple(verdict for limit in limits if (verdict := evaluate(limit, design)) is not None)


def _unknown(chains: Sequence[Floats]) -> list[Floats]:
    return [np.full(chain.shape, np.nan) for chain in chains]


def compare(scenario: Scenario, chains: Chains, climber: Climber) -> Correction:
    """True values as multiples of the maps'."""
    done = climber.settings
    run = chains.run(climber.found.point[None], climber.task.correction.grip)
    stages = done.throw.stages
    grip = None
    if scenario.limit_values.grip_margin:
        maps = run.grip_limit[0]
        if np.isnan(maps).any():
            maps = chains.grips(stages.exit_speed, _shares(scenario, done.throw))
        grip = np.where(np.isnan(done.grip_limit), 1.0, done.grip_limit / maps)
    return Correction(
        exit_speed=_ratio(done.exit_speed, run.exit_speed[0, -1]),
        slip_heat=_ratio(stages.slip_heat.sum(), run.slip_heat[0].sum()),
        peak=stages.peak_acceleration / np.maximum(run.peak_acceleration[0], 1e-9),
        grip=grip,
    )


def _shares(scenario: Scenario, throw: Throw) -> Floats:
    stages = throw.stages
    speed = np.where(stages.exit_speed > 0, stages.exit_speed, 1.0)
    return np.asarray(scenario.launcher.projectile.radius * stages.exit_spin / speed)


def _ratio(true: float, mapped: float) -> float:
    return float(true) / float(mapped) if mapped > 0 and true > 0 else 1.0


def _close(new: Correction, old: Correction, task: Task) -> bool:
    """Whether corrections moved too little to matter to a limit that is set."""
    same = not np.isfinite(task.cap) or abs(new.exit_speed / old.exit_speed - 1) < SETTLED
    same = same and (not np.isfinite(task.heat) or abs(new.slip_heat / old.slip_heat - 1) < SETTLED)
    if new.grip is not None:
        same = same and bool((np.abs(new.grip - (1.0 if old.grip is None else old.grip)) < SETTLED).all())
    return same
