"""From the maps' best settings to wheel speeds that keep every limit in the true model.

Maps are a little off. Each round throws the chains that the maps call best, notes what true values are as multiples
of the maps', and solves again with the limits held on the corrected maps, until nothing moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario
from stager.limits import Design, verdicts
from stager.physics.chain import length
from stager.physics.options import Options
from stager.physics.records import Throw
from stager.staging.chain_map import ChainRun
from stager.staging.records import Settings
from stager.staging.rows import grips_of, throw_rows
from stager.staging.solve import Chains, Correction, Task, solve
from stager.staging.trust import Found

JUDGED = Options(tolerance=2e-6)
ROUNDS = 5
SETTLED = 1e-5


def settle(scenario: Scenario, chains: Chains, counts: Sequence[int], task: Task) -> list[Settings]:
    """The best settings for each of `counts`, as far up as something gets through."""
    found: list[Found] = []
    for count in counts:
        best = solve(chains, count, task)
        if best is None:
            break
        found.append(best)
    tasks = [task] * len(found)
    settled: list[Settings] = []
    near: list[Floats] = []
    for _ in range(ROUNDS):
        runs = [chains.run(one.point[None], own.correction.grip) for one, own in zip(found, tasks, strict=True)]
        near = [run.grip_limit[0] for run in runs]
        settled = judged(scenario, [run.wheel_speed[0] for run in runs], near)
        moved = False
        for row, (run, done) in enumerate(zip(runs, settled, strict=True)):
            correction = _compare(scenario, chains, run, done, tasks[row].correction)
            if done.feasible and _close(correction, tasks[row].correction, task):
                continue
            tasks[row] = replace(tasks[row], correction=correction)
            again = solve(chains, done.count, tasks[row], found[row].point)
            found[row], moved = again or found[row], True
        if not moved:
            break
    return settled if scenario.allowances.grip_margin else _with_grips(scenario, settled, near)


def _with_grips(scenario: Scenario, settled: list[Settings], near: list[Floats]) -> list[Settings]:
    """Grip limits beside settings that need not keep off them."""
    throws = [done.throw for done in settled]
    grips = grips_of(scenario.launcher, scenario.allowances, throws, near)
    return [replace(done, grip_limit=grip) for done, grip in zip(settled, grips, strict=True)]


def judged(scenario: Scenario, chains: Sequence[Floats], near: Sequence[Floats] | None = None) -> list[Settings]:
    """Chains at their wheel speeds [m/s], each of shape (stages,), with the verdicts of all limits.

    near: about where the grip limits must be [m/s]; they are looked for where a margin to them is asked for.
    """
    launcher, allowances = scenario.launcher, scenario.allowances
    throws = throw_rows(launcher, chains, JUDGED)
    found = []
    limits = grips_of(launcher, allowances, throws, near) if allowances.grip_margin else _unknown(chains)
    for speeds, done, grips in zip(chains, throws, limits, strict=True):
        design = Design(launcher=launcher, allowances=allowances, throw=done, grip_limit=grips)
        found.append(
            Settings(
                wheel_speed=speeds, throw=done, exit_speed=float(done.exit_speed), grip_limit=grips,
                verdicts=tuple(verdicts(design)), length=float(length(launcher, speeds.size)),
            )
        )  # fmt: skip
    return found


def _unknown(chains: Sequence[Floats]) -> list[Floats]:
    return [np.full(chain.shape, np.nan) for chain in chains]


def _compare(scenario: Scenario, chains: Chains, run: ChainRun, done: Settings, before: Correction) -> Correction:
    """True values as multiples of the maps'."""
    stages = done.throw.stages
    grip = None
    if scenario.allowances.grip_margin:
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
