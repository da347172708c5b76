"""Progress messages on a terminal: time left or time spent; none without a terminal."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from stager.cli.command import left
from tests.bench.terminal import Terminal
from tests.cli.run import ROOT, TEMPLATE
from tests.cli.run import stager as run

CTRL_C = "\x03"


@pytest.mark.parametrize(
    ("seconds", "message"),
    [(0.2, "nearly done"), (7.6, "about 8 s left"), (89.0, "about 89 s left"), (95.0, "about 2 min left")],
)
def test_time_left_is_rounded_and_worded(seconds: float, message: str) -> None:
    assert left(seconds) == message


def test_plan_shows_the_time_left_then_the_answer(tmp_path: Path) -> None:
    small = ("--draws", "40", "--set", "limits.stages=2")
    with Terminal(["plan", str(TEMPLATE), *small], tmp_path, few=True, TERM="xterm") as terminal:
        terminal.expect(r"Planning.*(about \d+ s left|nearly done)")
        terminal.expect(r"\d stages and the outlet: the ball leaves at [\d.]+ m/s")
        assert terminal.end() == 0


def test_progress_shows_on_the_terminal_where_the_answer_goes_to_a_pipe(tmp_path: Path) -> None:
    with Terminal(["sweep", str(TEMPLATE), "--json"], tmp_path, piped=True, few=True, TERM="xterm") as terminal:
        terminal.expect("Sweeping")
        assert terminal.process.stdout is not None
        assert json.loads(terminal.process.stdout.read())["stager_version"]
        assert terminal.end() == 0


def test_interrupted_plan_ends_with_all_its_processes(tmp_path: Path) -> None:
    # So many draws that it lasts until the interruption arrives, on a busy machine too.
    long = ["plan", str(ROOT / "configs" / "seed_ball.toml"), "--draws", "20000"]
    with Terminal(long, tmp_path, TERM="xterm") as terminal:
        terminal.expect("Planning")
        terminal.send(CTRL_C)
        message = terminal.expect(r"(?s).*interrupted; nothing was written")[0]
        # The terminal closes once every process that holds it has ended.
        assert terminal.end() == 130
        assert "Traceback" not in message + terminal.seen


def test_sweep_shows_the_time_spent(tmp_path: Path) -> None:
    with Terminal(["sweep", str(TEMPLATE)], tmp_path, few=True, TERM="xterm") as terminal:
        terminal.expect(r"Sweeping.*\d:\d\d:\d\d")
        terminal.expect("Stage 1: grip limit at")
        assert terminal.end() == 0


@pytest.mark.usefixtures("few_draws")
def test_no_progress_without_a_terminal() -> None:
    ran = run("sweep", str(TEMPLATE), "--quiet")
    assert ran.err == ""
    assert not re.search("Sweeping", ran.out)


def test_interrupted_fit_shows_the_time_left_and_writes_nothing(tmp_path: Path) -> None:
    fitting = ["fit", str(ROOT / "configs" / "seed_ball.toml"), str(ROOT / "configs" / "seed_ball_throws.csv")]
    with Terminal([*fitting, "-o", "fitted.toml"], tmp_path, TERM="xterm") as terminal:
        terminal.expect(r"Fitting.*(about \d+ s left|nearly done)")
        terminal.send(CTRL_C)
        terminal.expect("interrupted; nothing was written")
        assert terminal.end() == 130
    assert list(tmp_path.iterdir()) == []
