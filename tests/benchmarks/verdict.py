"""Probabilities of the verdict against brute force: `python -m tests.benchmarks.verdict [DRAWS] [SEED] [SCENARIO ...]`.

Launchers are drawn and each is tuned by brute force. For each stage and several gains, it prints the share of launchers
in which the stage adds at least that gain, by brute force and by the plan's draws, and the difference of both in
standard errors.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from stager.config import load
from stager.model.launcher import Scenario
from stager.optimise.clock import Clock
from stager.optimise.ladder import TuningStep, tune
from stager.optimise.parts import select
from stager.optimise.planner import DRAWS
from tests.optimise.machines import unsure
from tests.optimise.redrawn import drawn, ladder

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)


def scenarios() -> dict[str, Scenario]:
    """Return the scenarios by name."""
    files = {name: load(CONFIGS / f"{name}.toml").scenario() for name in ("seed_ball", "table_tennis")}
    return {**files, "foam disc on rails": unsure()}


def main(draws: int, seed: int, names: list[str]) -> None:
    """Run the study and print its table."""
    apart: list[float] = []
    print(f"{'scenario':20} stage  worthwhile %  brute force    plan  standard errors apart")
    for name, task in scenarios().items():
        if names and name not in names:
            continue
        began, rng = time.perf_counter(), np.random.default_rng([seed, 17])
        truth = ladder(task, drawn(task, draws, rng), draws)
        between = time.perf_counter()
        rows = select(task, Clock(), lambda share: None).rows
        steps = [TuningStep(scenario=row.scenario, parts=row.parts, lead=row.settings.lead) for row in rows[1:]]
        found = tune(steps, DRAWS, np.random.default_rng(seed), {})()
        if found is None:
            raise ValueError("nothing is uncertain")
        rungs = zip(truth[1:] / truth[:-1] - 1, map(found.gain, range(len(steps))), strict=False)
        for stage, (true, planned) in enumerate(rungs, start=1):
            for gain in (task.goal.worthwhile, *np.quantile(true, SHARES)):
                many, few = float((true >= gain).mean()), float((planned >= gain).mean())
                pooled = (many * draws + few * DRAWS) / (draws + DRAWS)
                error = np.sqrt(max(pooled * (1 - pooled), 1e-9) * (1 / draws + 1 / DRAWS))
                apart.append((few - many) / error)
                shown = f"{100 * gain:13.2f} {100 * many:10.2f} % {100 * few:6.2f} % {apart[-1]:+8.2f}"
                print(f"{name:20} {stage:5d} {shown}", flush=True)
        print(f"{name}: brute force {between - began:.0f} s, plan's draws {time.perf_counter() - between:.0f} s")
    usual, most = np.sqrt(np.mean(np.square(apart))), np.abs(apart).max()
    print(f"{len(apart)} probabilities: root mean square {usual:.2f} standard errors apart, {most:.2f} at most.")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:3]]
    main(*(numbers[k] if k < len(numbers) else usual for k, usual in enumerate((10_000, 0))), sys.argv[3:])
