"""`--set key=value`: a changed value without editing the file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.run import stager

pytestmark = pytest.mark.usefixtures("few_draws")
CONFIG = "configs/seed_ball.toml"


def _exit_speed(*arguments: str) -> float:
    done = stager("throw", *arguments, "--speed", "12", "--json")
    assert done.status == 0, done.err
    return float(json.loads(done.out)["exit_speed_m_s"])


def test_set_gives_the_result_of_an_edited_file(tmp_path: Path) -> None:
    edited = tmp_path / "edited.toml"
    text = Path(CONFIG).read_text(encoding="utf-8")
    edited.write_text(text.replace('radius = "40 mm"', 'radius = "45 mm"', 1), encoding="utf-8")
    changed = _exit_speed(CONFIG, "--set", "stage.wheel.radius=45 mm")
    assert changed == _exit_speed(str(edited))
    assert changed != _exit_speed(CONFIG)
    assert Path(CONFIG).read_text(encoding="utf-8") == text


def test_set_may_be_repeated_and_takes_plain_numbers() -> None:
    both = _exit_speed(CONFIG, "--set", "contact.rebound=0.5", "--set", "projectile.mass=20 g")
    assert both < _exit_speed(CONFIG, "--set", "contact.rebound=0.5") < _exit_speed(CONFIG)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("foo", "KEY=VALUE"),
        ("limits.stagess=2", "unknown key"),
        ("stage.crush=4", "needs a unit"),
        ("projectile.mass.x=3", "not a key that can hold a value"),
        ("stages.7.speed=3 m/s", "stages.7.speed"),
        ("stage.3.speed=3 m/s", "not a key that can hold a value"),
        ("limits=3", "must be a table"),
        ("a..b=3", "unknown key"),
    ],
)
def test_invalid_set_is_an_input_error_with_a_hint(change: str, message: str) -> None:
    done = stager("throw", CONFIG, "--speed", "12", "--set", change)
    assert done.status == 2
    assert message in done.err
    assert "hint:" in done.err
    assert "Traceback" not in done.err


def test_error_of_a_value_that_is_set_names_no_line_of_the_file() -> None:
    done = stager("check", str(CONFIG), "--set", "projectile.mass=150", "--set", "foo.bar=1")
    assert done.status == 2
    assert f"{CONFIG}: projectile.mass: 150 needs a unit" in done.err
    assert f"{CONFIG}: foo: unknown key" in done.err


def test_plan_without_a_design_says_that_nothing_was_written(tmp_path: Path) -> None:
    planned = tmp_path / "planned.toml"
    goal = ("--set", "goal.aim=reach", "--set", "goal.exit_speed=60 m/s", "--set", "limits.stages=1")
    done = stager("plan", CONFIG, *goal, "--draws", "0", "-o", str(planned))
    assert done.status == 1
    assert "Nothing was written to" in done.out
    assert not planned.exists()
