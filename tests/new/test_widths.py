"""What nobody measured is not said to be known well."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager.config.load import understand
from stager.config.scaffold import start
from stager.model.scenario import Scenario
from tests.cli.run import TEMPLATE

TEXT = TEMPLATE.read_text(encoding="utf-8")
BROAD = {
    "contact.stiffness": 0.4, "contact.friction.static": 0.2, "contact.friction.sliding": 0.2, "contact.creep": 0.5,
    "contact.rebound": 0.1, "outlet.loss": 0.5, "stage.crush": 0.05, "stage.wheel.radius": 0.005,
    "stage.wheel.inertia": 0.2,
}  # fmt: skip
"""Least standard uncertainty of a guess, by its value."""


def _scenario(**given: str) -> Scenario:
    path = Path("a.toml")
    return understand(path, start(TEXT, path, given), "").scenario()


@pytest.mark.parametrize("given", [{}, {"mass": "2 g", "width": "15 mm", "layout": "rail"}, {"radius": "100 mm"}])
def test_guesses_carry_how_good_they_are(given: dict[str, str]) -> None:
    found = {one.key: one.standard_uncertainty / one.value for one in _scenario(**given).uncertain}
    assert {key for key, least in BROAD.items() if found.get(key, 0.0) < least} == set()


@pytest.mark.parametrize(("case", "low", "high"), [("12 mm", 1.0, 20.0), ("28 mm", 0.05, 0.07), ("50 mm", 0.002, 0.01)])
def test_motors_are_as_large_as_their_case(case: str, low: float, high: float) -> None:
    # At one speed constant a motor of 12 mm has ohms, one of 28 mm tens of milliohms: typical, from memory.
    drive = _scenario(motor="1400 rpm/V", case=case).launcher.template.drive
    assert drive is not None
    assert low < drive.resistance < high
    stalled = 14.8 / drive.resistance
    assert drive.no_load_current < 0.35 * stalled
