"""The answers that rest on plans: the ladder over draws, against a plan for each draw; the page, against its plan."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np

import stager
from stager.optimise.draws import draw
from stager.optimise.parts import select
from stager.optimise.search import Clock
from tests.benchmarks.timing import Line

CONFIG = Path(__file__).parents[2] / "configs" / "seed_ball.toml"
DRAWS, TRIED = 400, 4
T = TypeVar("T")


def lines() -> list[Line]:
    """The table's rows."""
    loaded = stager.load(CONFIG)
    loaded.plan(draws=20)
    nominal, _ = _timed(lambda: loaded.plan(draws=0))
    whole, found = _timed(lambda: loaded.plan(draws=DRAWS))
    each, _ = _timed(lambda: _one_by_one(loaded))
    page, _ = _timed(lambda: loaded.report(plan=found).html())
    over = DRAWS * each / TRIED / (whole - nominal)
    return [
        Line("plan, certified, no draws", nominal, "3 s", 3.0 / nominal, "shown", True),
        Line(f"worth: plan, certified, {DRAWS} draws", whole, "10 s", 10.0 / whole, "≥ 1", whole <= 10.0),
        Line(f"of that {DRAWS} draws", whole - nominal, f"a search a draw, from {TRIED}", over, "shown", True),
        Line("page of that plan", page, "the plan", whole / page, "shown", True),
    ]


def _one_by_one(loaded: stager.Loaded) -> list[float]:
    """Exit speed of draws, each searched as the nominal launcher is [m/s]."""
    scenario = loaded.scenario
    draws, out = draw(scenario, TRIED, np.random.default_rng(0)), []
    for k in range(1, draws.lanes):
        launcher = scenario.realise({key: float(values[k]) for key, values in draws.values.items()})
        rows = select(replace(scenario, launcher=launcher), Clock(), lambda share: None).rows
        out.append(rows[-1].settings.exit_speed)
    return out


def _timed(job: Callable[[], T]) -> tuple[float, T]:
    began = time.process_time()
    found = job()
    return time.process_time() - began, found
