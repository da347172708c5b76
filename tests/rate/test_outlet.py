"""Speeds at a rate and the upper bound are told behind the outlet, as the headline's exit speed is."""

from __future__ import annotations

from math import sqrt
from typing import Any

import pytest

from stager import api
from stager.api.design_results import PlanResult
from stager.report.page.content import view
from tests.broken.corpus import VALID

LOSS = 0.2
"""Energy that the outlet takes [J]."""


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> api.Loaded:
    text = VALID.replace("[feed]", '[feed]\nrate = "2 /s"').replace("[stage]", '[stage]\nspeed = "12 m/s"', 1)
    text = text.replace("[supply]", f'[outlet]\nloss = "{LOSS} J"\n\n[supply]\ncapacity = "2.2 Ah"')
    path = tmp_path_factory.mktemp("outlet") / "a.toml"
    path.write_text(text, encoding="utf-8")
    return api.load(path).replace({"limits.stages": 2})


@pytest.fixture(scope="module")
def planned(loaded: api.Loaded) -> PlanResult:
    return loaded.plan(draws=20)


def _behind(loaded: api.Loaded, exit_speed: float) -> float:
    """Return the speed behind the outlet [m/s], by the energy that it takes."""
    return sqrt(exit_speed**2 - 2 * LOSS / float(loaded.scenario.launcher.projectile.mass))


def test_plan_and_page_tell_speeds_behind_the_outlet(loaded: api.Loaded, planned: PlanResult) -> None:
    report = loaded.report(plan=planned)
    plan: Any = report.data.content
    assert report.data.plan.best is not None
    settled, bound = (_behind(loaded, v) for v in (plan["settled"]["exit_speed_m_s"], plan["bound_m_s"]))
    assert f"At 2.00 throws a second it settles at {settled:.2f} m/s" in " ".join(report.data.screen.notes)
    shown = view(report.data)
    facts = {fact.name: fact.value for fact in shown.facts}
    assert facts["Exit speed"] == f"{_behind(loaded, plan['exit_speed_m_s']):.2f} m/s"
    assert facts["At 2.00 throws/s"] == f"{settled:.2f} m/s"
    assert facts["Upper bound"] == f"{bound:.2f} m/s"
    assert f"throws settle at {settled:.2f} m/s" in shown.rate.lead


def test_check_and_motor_tell_speeds_behind_the_outlet(loaded: api.Loaded) -> None:
    drives: Any = loaded.check().document()["drives"]
    rate = drives["at_rate"]
    charge: Any = loaded.size_motors().document()["charge"]
    pairs = [(rate[f"{throw}_outlet_speed_m_s"], rate[f"{throw}_exit_speed_m_s"]) for throw in ("first", "settled")]
    for told, exit_speed in (*pairs, (charge[0]["outlet_speed_m_s"][0], charge[0]["exit_speed_m_s"][0])):
        assert told == pytest.approx(_behind(loaded, exit_speed))


def test_plan_and_check_have_the_speed_behind_the_outlet(loaded: api.Loaded, planned: PlanResult) -> None:
    for found in (planned, loaded.check(), loaded.simulate(12.0)):
        assert found.outlet_speed == pytest.approx(_behind(loaded, float(found.exit_speed)))
