"""A plan's first line where nothing gets through: a rod pressed on a strip is held back by as much friction as drives it."""

from __future__ import annotations

from pathlib import Path

from tests.cli.run import ROOT, stager


def test_a_launcher_that_lets_nothing_through_is_not_called_unneeded(tmp_path: Path) -> None:
    text = (ROOT / "configs" / "streamer.toml").read_text(encoding="utf-8")
    path = tmp_path / "strip.toml"
    path.write_text(text.replace('layout = "pair"', 'layout = "rail"'), encoding="utf-8")
    ran = stager("plan", str(path), "--draws", "0")
    assert ran.out.splitlines()[0] == "No stage fits: the rod stays at the feed's 1.00 m/s."
