"""Notes on wheels that overlap along the barrel."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from stager.config import load
from stager.model.launcher import Launcher
from stager.report.check import spacing_notes
from tests.cli.run import ROOT, stager

LAUNCHER = load(ROOT / "configs" / "seed_ball.toml").scenario().launcher


def _apart(pitch: float) -> Launcher:
    return replace(LAUNCHER, template=replace(LAUNCHER.template, pitch=pitch))


@pytest.mark.parametrize(("pitch", "count", "notes"), [(0.08, 3, 0), (0.086, 3, 0), (0.079, 3, 2), (0.079, 1, 0)])
def test_overlap_is_noted_below_the_sum_of_radii(pitch: float, count: int, notes: int) -> None:
    assert len(spacing_notes(_apart(pitch), count)) == notes


def test_check_names_the_overlapping_wheels(tmp_path: Path) -> None:
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    path = tmp_path / "close.toml"
    path.write_text(text.replace('clearance = "6 mm"', 'pitch = "60 mm"'), encoding="utf-8")
    message = " ".join(stager("check", str(path), "--speed", "12", "--speed", "15").out.split())
    assert "Wheels of stages 1 and 2 overlap: their axes are 60.0 mm apart and their radii take 80.0 mm." in message
