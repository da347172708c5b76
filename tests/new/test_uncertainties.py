"""Estimated values of a new configuration have wide uncertainties."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager.config.load import understand
from stager.config.scaffold import start
from stager.model.launcher import Scenario
from tests.cli.run import TEMPLATE

TEXT = TEMPLATE.read_text(encoding="utf-8")
MIN_UNCERTAINTY = {
    "contact.stiffness": 0.4, "contact.friction.static": 0.2, "contact.friction.sliding": 0.2, "contact.creep": 0.5,
    "contact.rebound": 0.1, "outlet.loss": 0.5, "stage.crush": 0.05, "stage.wheel.radius": 0.005,
    "stage.wheel.inertia": 0.2,
}  # fmt: skip
"""Lowest relative standard uncertainty of each estimate."""


def _scenario(**given: str) -> Scenario:
    path = Path("a.toml")
    return understand(path, start(TEXT, path, given), "").scenario()


@pytest.mark.parametrize("given", [{}, {"mass": "2 g", "width": "15 mm", "layout": "rail"}, {"radius": "100 mm"}])
def test_estimates_have_at_least_their_uncertainty(given: dict[str, str]) -> None:
    found = {one.key: one.standard_uncertainty / one.value for one in _scenario(**given).uncertain}
    assert {key for key, least in MIN_UNCERTAINTY.items() if found.get(key, 0.0) < least} == set()


@pytest.mark.parametrize(("case", "low", "high"), [("12 mm", 1.0, 20.0), ("28 mm", 0.05, 0.07), ("50 mm", 0.002, 0.01)])
def test_motor_resistance_follows_the_case_diameter(case: str, low: float, high: float) -> None:
    # At the same speed constant a 12 mm motor has ohms, a 28 mm one tens of milliohms: typical values, from memory.
    drive = _scenario(motor="1400 rpm/V", case=case).launcher.template.drive
    assert drive is not None
    assert low < drive.resistance < high
    stalled = 14.8 / drive.resistance
    assert drive.no_load_current < 0.35 * stalled
