"""Time of tuning draws in one process and in two, and its growth with their number.

Both processes have started and loaded the program before the wall clock starts.
"""

from __future__ import annotations

import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from stager.config import load
from stager.optimise.clock import Clock
from stager.optimise.ladder import TuningStep, tune
from stager.optimise.parts import select
from stager.parallel import Executor
from tests.benchmarks.timing import Line, exponent, medians

CONFIGS = Path(__file__).parents[2] / "configs"
DRAWS = (400, 800, 1_600)
ASKED = 1.8


def lines() -> list[Line]:
    """Return the rows of the table."""
    task = load(CONFIGS / "seed_ball.toml").scenario()
    rows = select(task, Clock(), lambda share: None).rows
    steps = [TuningStep(scenario=row.scenario, parts=row.parts, lead=row.settings.lead) for row in rows[1:]]

    def drawn(count: int, executor: Executor) -> object:
        return tune(steps, count, np.random.default_rng(0), {}, executor)()

    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        two, alone = Executor(pool), Executor()
        drawn(2 * 400, two)
        most, clock = DRAWS[-1], time.perf_counter
        one, both = medians(partial(drawn, most, alone), partial(drawn, most, two), rounds=3, clock=clock)
    grown = medians(*(partial(drawn, count, alone) for count in DRAWS), rounds=3)
    growth = exponent(list(DRAWS), grown)
    return [
        Line(f"{most} draws, ladder of {len(steps)}, two processes", both, "one", one / both, f"≥ {ASKED}",
             one >= ASKED * both),
        Line(f"{most} draws", grown[-1], "exponent in draws", growth, "0.95–1.05", 0.95 <= growth <= 1.05),
    ]  # fmt: skip
