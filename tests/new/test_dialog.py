"""`stager new`: questions on a terminal, options without one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import stager
from tests.bench.terminal import Terminal
from tests.cli.run import stager as run


def test_dialog_writes_a_configuration_that_plans(tmp_path: Path) -> None:
    with Terminal(["new", "mine", "--layout", "rail"], tmp_path) as terminal:
        terminal.expect(r"What is thrown \(ball, .*\) \[ball\]: ")
        terminal.send("disc\n")
        terminal.expect(r"Its mass \[18 g ± 0.5 g\]: ")
        terminal.send("?\n")
        terminal.expect("weigh ten and divide")
        terminal.send("20 mm\n")
        terminal.expect("does not measure a mass")
        terminal.expect(r"Its mass \[18 g ± 0.5 g\]: ")
        terminal.send("20\n")
        for asked in ("width", "thickness", "Radius", "Speed constant", "Throws per second", "Greatest exit energy"):
            terminal.expect(rf"{asked}.*\[.*\]: ")
            terminal.send("\n")
        terminal.expect(r"Most stages \[4\]: ")
        terminal.send("2\n")
        terminal.expect(r"Greatest length along the barrel \[\d+ mm\]: ")
        terminal.send("\n")
        terminal.expect(r"Wrote mine/launcher\.toml, mine/throws\.csv and\s+mine/stager\.schema\.json\.")
        assert terminal.end() == 0
    loaded = stager.load(tmp_path / "mine" / "launcher.toml")
    assert loaded.scenario.launcher.projectile.shape.name == "disc"
    assert loaded.scenario.launcher.projectile.mass == pytest.approx(0.020)
    assert loaded.scenario.limit_values.stages == 2
    assert loaded.plan(draws=0).best is not None


@pytest.mark.parametrize(("key", "status"), [("\x03", 130), ("\x04", 130)])
def test_leaving_the_dialog_writes_nothing(tmp_path: Path, key: str, status: int) -> None:
    with Terminal(["new", "mine"], tmp_path) as terminal:
        terminal.expect(r"\[ball\]: ")
        terminal.send(key)
        terminal.expect("nothing was written")
        assert terminal.end() == status
    assert list(tmp_path.iterdir()) == []


def test_options_replace_the_dialog(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ran = run("new", ".", "--shape", "rod", "--mass", "1.2 g", "--width", "13 mm", "--energy", "1 J", "--stages", "2")
    assert (ran.status, ran.err) == (0, "")
    loaded = stager.load("launcher.toml")
    assert loaded.scenario.limit_values.exit_energy == 1.0
    assert len(loaded.read_throws("throws.csv")) == 0
    # 13 mm × 2.5, as the question proposes
    assert loaded.scenario.launcher.projectile.length == pytest.approx(0.032, abs=1e-4)
    assert json.loads(run("plan", "launcher.toml", "--draws", "0", "--json").out)["stage_count"] >= 1


def test_all_invalid_options_are_reported_together(tmp_path: Path) -> None:
    ran = run("new", str(tmp_path / "mine"), "--shape", "cube", "--mass", "3 m")
    assert ran.status == 2
    assert "--shape: " in ran.err
    assert "--mass: " in ran.err
    assert not (tmp_path / "mine").exists()
