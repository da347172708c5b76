"""Draws up the ladder where shared limits hold them back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from stager.config import load
from stager.hardware.scenario import Scenario
from stager.staging.odds import odds
from stager.staging.settle import judged

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


@pytest.fixture
def weak(tmp_path: Path) -> Scenario:
    """The foam disc thrower on a supply that starts three of its four wheels at once."""
    text = (CONFIGS / "foam_disc.toml").read_text(encoding="utf-8")
    path = tmp_path / "weak.toml"
    path.write_text(
        text.replace("[limits]\n", '[limits]\nsupply_current = "80 A"\naverage_power = "200 W"\n'), encoding="utf-8"
    )
    return load(path).scenario()


def test_draws_that_need_no_further_stage_are_no_fault(weak: Scenario) -> None:
    # Lane 0 is at its cap after two stages: the third and fourth have no speed of its own to start from.
    climbed = judged(weak, [np.full(count, 35.0) for count in range(5)])
    assert min(float(verdict.slack) for verdict in climbed[4].verdicts if verdict.name == "supply_current") < 0
    found = odds(weak, climbed, 6, np.random.default_rng(0))
    assert found is not None
    assert found.exit_speed.shape == (5, 6)
    assert np.isfinite(found.exit_speed).all()
