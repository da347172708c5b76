"""`[outlet]` and `[measuring]` on the command line: throw, check and plan."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import stager as package
from tests.cli.run import ROOT, document, stager

pytestmark = pytest.mark.usefixtures("few_draws")
BALL = str(ROOT / "configs" / "seed_ball.toml")


@pytest.fixture
def config(tmp_path: Path) -> str:
    text = Path(BALL).read_text(encoding="utf-8")
    path = tmp_path / "with_outlet.toml"
    path.write_text(text + '\n[outlet]\nloss = "0.2 J"\nlength = "80 mm"\n[measuring]\nwheel_speed = 1.02\n', "utf-8")
    return str(path)


def test_throw_reports_the_outlet_loss(config: str) -> None:
    plain = document("throw", BALL, "--speed", "12")
    behind = document("throw", config, "--speed", "12")
    assert behind["exit_speed_m_s"] == plain["exit_speed_m_s"] == plain["outlet_speed_m_s"]
    assert behind["exit_energy_J"] == pytest.approx(plain["exit_energy_J"] - 0.2)
    assert behind["outlet_speed_m_s"] < plain["outlet_speed_m_s"]
    assert behind["stages"][0]["indicated_rpm"] == pytest.approx(behind["stages"][0]["rpm"] / 1.02)
    message = " ".join(stager("throw", config, "--speed", "12").out.split())
    assert "the outlet takes 0.200 J" in message
    assert "set the wheels until the tachometer shows" in message


def test_projectile_that_stays_in_the_outlet_gives_status_one(config: str) -> None:
    for command in ("throw", "check"):
        ran = stager(command, config, "--speed", "12", "--set", "outlet.loss=20 J")
        assert ran.status == 1
        assert "stays in the outlet, which takes all of its energy" in " ".join(ran.out.split())
    found = document("throw", config, "--speed", "12", "--set", "outlet.loss=20 J", status=1)
    assert (found["outlet_speed_m_s"], found["exit_energy_J"], found["stays_in_outlet"]) == (0, 0, True)
    assert found["exit_speed_m_s"] > 0


def test_plan_limits_the_energy_behind_the_outlet(config: str) -> None:
    # The energy limit holds at the outlet's opening, so the outlet's loss may be added before it.
    wanted = ("--draws", "0", "--set", "limits.stages=1", "--set", "limits.exit_energy=0.6 J")
    plain, behind = (document("plan", path, *wanted) for path in (BALL, config))
    assert plain["exit_energy_J"] == pytest.approx(0.6, rel=1e-3)
    assert behind["exit_energy_J"] == pytest.approx(0.6, rel=1e-3)
    assert behind["exit_speed_m_s"] > plain["exit_speed_m_s"]


def test_no_stage_is_planned_whose_projectile_stays_in_the_outlet(config: str) -> None:
    # Five stages throw 18 g at 27 m/s, which is 6.6 J; one at 12 m/s, 1.3 J.
    ran = stager("plan", config, "--draws", "0", "--set", "outlet.loss=20 J")
    assert ran.status == 1
    assert ran.out.startswith("No stage fits")
    assert "none within outlet loss" in ran.out
    best = document("plan", config, "--draws", "0", "--set", "outlet.loss=2.5 J", "--set", "limits.stages=3")
    assert best["outlet_speed_m_s"] > 10.0
    assert [rung["broken"] for rung in best["ladder"]] == [[], ["outlet_loss"], [], []]
    none = document("plan", config, "--draws", "0", "--set", "outlet.loss=2.5 J", "--set", "limits.stages=1", status=1)
    assert none["conflict"] == ["stages"]
    assert none["relaxations"][0]["needed"] == 2


def test_plan_says_in_how_many_builds_the_projectile_stays_in_the_outlet(config: str) -> None:
    told = " ".join(stager("plan", config, "--set", "outlet.loss=5.3 J").out.split())
    assert re.search(r"The projectile stays in the outlet in \d+ of 100 builds\.", told)
    assert "stays in the outlet" not in stager("plan", config).out


@pytest.mark.usefixtures("few_draws")
def test_sweep_says_which_exit_speeds_are_behind_the_outlet(config: str) -> None:
    note = "The recommended setting's exit speed is behind the outlet, all others are behind the last wheel."
    assert note in " ".join(stager("sweep", config).out.split())
    assert "behind the outlet" not in stager("sweep", BALL).out


def test_python_gives_the_speed_behind_the_outlet(config: str) -> None:
    thrown = package.load(config).simulate("12 m/s")
    told = document("throw", config, "--speed", "12 m/s")
    assert thrown.outlet_speed == pytest.approx(told["outlet_speed_m_s"])
    assert thrown.outlet_speed < float(thrown.exit_speed)
