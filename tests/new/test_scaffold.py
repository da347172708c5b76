"""First configurations from a few answers load and can be planned."""

from __future__ import annotations

import tomllib
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from stager.config.load import understand
from stager.config.scaffold import NONE, QUESTIONS, complete, read_answer, start
from stager.constraints import broken_by
from stager.model.launcher import Scenario
from stager.optimise.planner import plan
from stager.physics.chain import throw
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


def _drawn(rng: np.random.Generator, shape: str, layout: str) -> dict[str, str]:
    """Return answers of projectiles, wheels at least as large as they are, and energies of 8 to 45 m/s."""
    width, density, speed = np.exp(rng.uniform(np.log([10, 80, 8]), np.log([80, 900, 45])))  # [mm], [kg/m³], [m/s]
    radius = width / 2 * 4 ** rng.uniform()  # [mm]
    length = {"rod": 5.0, "disc": 0.25, "ring": 0.15, "ball": 0.67, "hollow ball": 0.2}[shape] * width  # [mm]
    mass = density * 1e-6 * np.pi / 4 * width**2 * length  # [g]
    sizes = {"width": width, "radius": radius, "mass": mass, "energy": 0.5e-3 * mass * speed**2}
    sizes |= {"length": length} if shape == "rod" else {"thickness": length} if shape in ("disc", "ring") else {}
    units = {"mass": "g", "energy": "J"}
    given = {key: f"{one:.4g} {units.get(key, 'mm')}" for key, one in sizes.items()}
    return {"shape": shape, "layout": layout, **given}


@pytest.mark.parametrize(("shape", "layout"), [*product(SHAPES, LAYOUTS)])
def test_written_launchers_throw_at_their_set_speed(shape: str, layout: str) -> None:
    rng = np.random.default_rng([11, len(shape), len(layout)])
    for answers in ({"shape": shape, "layout": layout}, *(_drawn(rng, shape, layout) for _ in range(8))):
        scenario = _scenario(**answers)
        launcher = scenario.launcher
        assert broken_by(launcher, scenario.limit_values, 3) == [], answers
        thrown = throw(launcher, np.array([float(launcher.template.speed)]))
        assert not thrown.jammed, answers
        assert thrown.exit_speed > launcher.feed.speed, answers


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
