"""Headline of a plan if friction is too low for any stage."""

from __future__ import annotations

from pathlib import Path

from tests.cli.run import ROOT, stager


def test_plan_without_a_feasible_stage_gives_status_one(tmp_path: Path) -> None:
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    slippery = text.replace('"0.75 ± 0.08"', "0.05").replace('"0.22 ± 0.04"', "0.05")
    path = tmp_path / "slippery.toml"
    path.write_text(slippery, encoding="utf-8")
    ran = stager("plan", str(path), "--draws", "0")
    assert ran.out.splitlines()[0] == "No stage fits: the ball stays at the feed's 1.20 m/s."
    assert ran.status == 1
    assert stager("worth", str(path), "--draws", "0").status == 1
