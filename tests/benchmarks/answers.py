"""Times of answers that use plans: the ladder over draws against one search per draw, the page against its plan."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np

import stager
from stager.optimise.clock import Clock
from stager.optimise.draws import draw
from stager.optimise.judge import judge_settings
from stager.optimise.parts import select
from tests.benchmarks.timing import Line

CONFIG = Path(__file__).parents[2] / "configs" / "seed_ball.toml"
DRAWS, TRIED, SETTINGS, STAGES = 400, 4, 2000, 5
STEADY = {"limits.winding_temperature": "50 degC", "limits.settled_loss": 0.05, "limits.peak_power": "1 kW"}
T = TypeVar("T")


def lines() -> list[Line]:
    """Return the rows of the table."""
    loaded = stager.load(CONFIG)
    loaded.plan(draws=20)
    nominal, _ = _timed(lambda: loaded.plan(draws=0))
    whole, found = _timed(lambda: loaded.plan(draws=DRAWS))
    each, _ = _timed(lambda: _one_by_one(loaded))
    page, _ = _timed(lambda: loaded.report(plan=found).html())
    launcher = loaded.replace(STEADY).scenario
    settings = np.random.default_rng(1).uniform(10.0, 20.0, (SETTINGS, STAGES))
    judge_settings(launcher, settings[:2])
    many, _ = _timed(lambda: judge_settings(launcher, settings))
    single, _ = _timed(lambda: [judge_settings(launcher, settings[k : k + 1]) for k in range(TRIED)])
    over = DRAWS * each / TRIED / (whole - nominal)
    return [
        Line("plan, certified, no draws", nominal, "3 s", 3.0 / nominal, "shown", True),
        Line(f"worth: plan, certified, {DRAWS} draws", whole, "10 s", 10.0 / whole, "≥ 1", whole <= 10.0),
        Line(f"of that {DRAWS} draws", whole - nominal, f"a search a draw, from {TRIED}", over, "shown", True),
        Line(
            f"check --settings: {SETTINGS} of {STAGES} stages, steady limits",
            many,
            f"one by one, from {TRIED}",
            SETTINGS * single / TRIED / many,
            "≤ 10 s",
            many <= 10.0,
        ),
        Line("page of that plan", page, "the plan", whole / page, "shown", True),
    ]


def _one_by_one(loaded: stager.Loaded) -> list[float]:
    """Search each draw like the nominal launcher; return the exit speeds [m/s]."""
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
