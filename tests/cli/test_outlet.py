"""Outlet and instruments on the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.run import ROOT, stager

BALL = str(ROOT / "configs" / "seed_ball.toml")


def _json(*arguments: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(stager(*arguments, "--json").out)
    return found


@pytest.fixture
def config(tmp_path: Path) -> str:
    text = Path(BALL).read_text(encoding="utf-8")
    path = tmp_path / "with_outlet.toml"
    path.write_text(text + '\n[outlet]\nloss = "0.2 J"\nlength = "80 mm"\n[measuring]\nwheel_speed = 1.02\n', "utf-8")
    return str(path)


def test_throw_tells_what_the_outlet_takes(config: str) -> None:
    plain = _json("throw", BALL, "--speed", "12")
    behind = _json("throw", config, "--speed", "12")
    assert behind["exit_speed_m_s"] == plain["exit_speed_m_s"] == plain["outlet_speed_m_s"]
    assert behind["exit_energy_J"] == pytest.approx(plain["exit_energy_J"] - 0.2)
    assert behind["outlet_speed_m_s"] < plain["outlet_speed_m_s"]
    assert behind["stages"][0]["indicated_rpm"] == pytest.approx(behind["stages"][0]["rpm"] / 1.02)
    said = " ".join(stager("throw", config, "--speed", "12").out.split())
    assert "the outlet takes 0.200 J" in said
    assert "Set the wheels until the tachometer shows" in said


def test_what_stays_in_the_outlet_is_a_no_with_its_reason(config: str) -> None:
    for command in ("throw", "check"):
        ran = stager(command, config, "--speed", "12", "--set", "outlet.loss=20 J")
        assert ran.status == 1
        assert "stays in the outlet, which takes all of its energy" in " ".join(ran.out.split())
    found = _json("throw", config, "--speed", "12", "--set", "outlet.loss=20 J")
    assert (found["outlet_speed_m_s"], found["exit_energy_J"], found["stays_in_outlet"]) == (0, 0, True)
    assert found["exit_speed_m_s"] > 0


def test_plan_uses_the_exit_energy_behind_the_outlet(config: str) -> None:
    """The limit is at the opening: what the outlet takes may be had on top."""
    wanted = ("--draws", "0", "--set", "limits.stages=1", "--set", "limits.exit_energy=0.6 J")
    plain, behind = (_json("plan", path, *wanted) for path in (BALL, config))
    assert plain["exit_energy_J"] == pytest.approx(0.6, rel=1e-3)
    assert behind["exit_energy_J"] == pytest.approx(0.6, rel=1e-3)
    assert behind["exit_speed_m_s"] > plain["exit_speed_m_s"]
