"""First configurations from a few answers load and can be planned."""

from __future__ import annotations

import tomllib
from itertools import product
from pathlib import Path

import pytest

from stager.config.load import understand
from stager.config.scaffold import NONE, QUESTIONS, complete, read_answer, start
from stager.model.launcher import Scenario
from stager.optimise.planner import plan
from tests.cli.run import TEMPLATE

TEXT = TEMPLATE.read_text(encoding="utf-8")
SHAPES = ("ball", "hollow ball", "disc", "ring", "rod")
LAYOUTS = ("pair", "rail", "idler")
BY_NAME = {question.name: question for question in QUESTIONS}


def _scenario(**given: str) -> Scenario:
    path = Path("a.toml")
    return understand(path, start(TEXT, path, given), "").scenario()


@pytest.mark.parametrize(("shape", "layout", "motor"), [*product(SHAPES, LAYOUTS, (NONE, "1200 rpm/V"))])
def test_every_shape_and_layout_loads(shape: str, layout: str, motor: str) -> None:
    scenario = _scenario(shape=shape, layout=layout, motor=motor)
    stage = scenario.launcher.stage(0)
    assert scenario.launcher.projectile.shape.name == shape
    assert stage.layout.name == layout
    assert (stage.drive is None) == (scenario.launcher.supply is None) == (motor == NONE)


@pytest.mark.parametrize(
    "given",
    [
        {"mass": "1 g", "width": "13 mm", "shape": "rod", "energy": "1 J"},
        {"mass": "58 g", "width": "66 mm", "shape": "hollow ball", "layout": "rail", "motor": "900 rpm/V"},
        {"mass": "200 g", "width": "200 mm", "shape": "ring", "layout": "idler"},
        {"width": "120 mm", "radius": "20 mm"},
    ],
)
def test_unusual_sizes_can_be_planned(given: dict[str, str]) -> None:
    found = plan(_scenario(**given, stages="2"), draws=0)
    assert found.best is not None
    assert found.best.exit_speed > 3


def test_default_answers_give_the_template() -> None:
    usual = complete({})
    assert tomllib.loads(start(TEXT, Path("a.toml"), usual)) == tomllib.loads(TEXT)
    assert start(TEXT, Path("a.toml"), {}) == TEXT


def test_answers_are_written_in_place_with_comments() -> None:
    lines = start(TEXT, Path("a.toml"), {"mass": "25 g", "motor": "1200 rpm/V", "supply": "11.1 V"}).splitlines()
    assert 'mass = "25 g"' in lines
    assert any(line.startswith('speed_constant = "1200 rpm/V" #') for line in lines)
    assert 'voltage = "11.1 V"' in lines
    # ½ × 25 g × (30 m/s)², rounded
    assert any(line.startswith('exit_energy = "11 J"') for line in lines)


@pytest.mark.parametrize(
    ("name", "typed", "answer"),
    [
        ("shape", "b", "ball"),
        ("shape", "Hollow", "hollow ball"),
        ("mass", "20", "20 g"),
        ("mass", "20g", "20 g"),
        ("mass", "0.02 kg +/- 1 g", "0.02 kg +/- 1 g"),
        ("mass", "46 g +- 1 g", "46 g +- 1 g"),
        ("motor", "1000", "1000 rpm/V"),
        ("motor", "None", NONE),
        ("stages", "3", "3"),
    ],
)
def test_abbreviated_answers_are_completed(name: str, typed: str, answer: str) -> None:
    assert read_answer(BY_NAME[name], typed) == answer


@pytest.mark.parametrize(
    ("name", "typed", "message"),
    [
        ("shape", "r", "not one of"),
        ("mass", "20 mm", "does not measure a mass"),
        ("mass", "0 g", "above 0"),
        ("mass", "heavy", "write it like"),
        ("stages", "13", "not one of"),
        ("energy", NONE, "write it like"),
    ],
)
def test_invalid_answer_is_refused_with_its_reason(name: str, typed: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        read_answer(BY_NAME[name], typed)
