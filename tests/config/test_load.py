"""From a file to a scenario: values, defaults, uncertainties, set speeds, draws."""

from __future__ import annotations

import hashlib
import math
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stager.config import Configuration, load
from stager.errors import InputErrors
from stager.model.requirements import Aim
from stager.model.stage import IDLER, PAIR, RAIL, Hold
from stager.physics.friction import Bell, Constant, Falling, Rising, Tabulated
from stager.physics.wheel import gent_modulus
from tests.broken.corpus import VALID

CONFIGS = sorted((Path(__file__).parents[2] / "configs").glob("*.toml"))
LAW = 'law = "falling"\nstatic = "0.75 ± 0.08"\nsliding = 0.22\nfade_speed = "9 m/s"'


def loaded(tmp_path: Path, *edits: tuple[str, str], end: str = "") -> Configuration:
    text = VALID
    for before, after in edits:
        assert before in text
        text = text.replace(before, after)
    path = tmp_path / "a.toml"
    path.write_text(text + end, encoding="utf-8")
    return load(path)


@pytest.mark.parametrize("path", CONFIGS, ids=lambda path: path.stem)
def test_shipped_scenarios_load_and_can_be_pickled(path: Path) -> None:
    scenario = load(path).scenario()
    again = pickle.loads(pickle.dumps(scenario))
    assert again.realise({}) == scenario.launcher == scenario.realise(scenario.values)
    assert scenario.uncertain


def test_defaults_of_missing_keys(tmp_path: Path) -> None:
    scenario = loaded(tmp_path, ("stages = 4\n", ""), ('[stage.drive]\nspeed_constant = "1400 rpm/V"\n', ""),
                      ('resistance = "60 mohm"\n', ""), ('[supply]\nvoltage = "14.8 V"\n', "")).scenario()  # fmt: skip
    launcher, contact = scenario.launcher, scenario.launcher.contact
    assert (contact.exponent, contact.rebound) == (1.0, 1.0)
    assert contact.rail_friction is contact.friction
    assert contact.friction == Falling(0.75, 0.22, 9.0, 1.0)
    assert launcher.template.clearance == 0.005
    assert launcher.template.drive is launcher.supply is launcher.guide is launcher.feed.rate is None
    assert (scenario.limit_values.stages, scenario.limit_values.grip_margin, scenario.goal.worthwhile) == (6, 0.0, 0.08)
    assert scenario.goal.aim is Aim.FASTEST


def test_hash_is_that_of_the_file_bytes(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(("\ufeff" + VALID.replace("\n", "\r\n")).encode())
    assert load(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_uncertain_quantities_have_their_uncertainty_and_range(tmp_path: Path) -> None:
    scenario = loaded(tmp_path, ('crush = "4 mm"', 'crush = "4 mm ± 0.3 mm limits"')).scenario()
    found = {one.key: one for one in scenario.uncertain}
    assert list(found) == ["projectile.mass", "contact.friction.static", "stage.crush"]
    mass, static, crush = found.values()
    assert (mass.value, mass.standard_uncertainty, mass.low, mass.high) == (0.018, 0.0005, 1e-6, 100.0)
    assert (static.low, static.high, static.rectangular) == (0.0, 10.0, False)
    assert crush.rectangular
    assert crush.standard_uncertainty == pytest.approx(0.0003 / math.sqrt(3), rel=1e-12)


@pytest.mark.parametrize(
    "text, law",
    [
        ('law = "constant"\ncoefficient = 0.6', Constant(0.6)),
        (
            'law = "falling"\nstatic = 0.8\nsliding = 0.3\nfade_speed = "5 m/s"\nfade_exponent = 2',
            Falling(0.8, 0.3, 5.0, 2.0),
        ),
        ('law = "bell"\npeak = 0.9\npeak_speed = "1.5 m/s"\nwidth = 2.2', Bell(0.9, 1.5, 2.2)),
        ('law = "rising"\nstatic = 0.4\nsliding = 0.9\nrise_speed = "3 m/s"', Rising(0.4, 0.9, 3.0)),
        (
            'law = "tabulated"\nslip = ["0 m/s", "200 cm/s"]\ncoefficient = [0.7, "0.4"]',
            Tabulated((0.0, 2.0), (0.7, 0.4)),
        ),
    ],
)
def test_each_friction_law_is_built(text: str, law: Any, tmp_path: Path) -> None:
    assert loaded(tmp_path, (LAW, text)).scenario().launcher.contact.friction == law


@pytest.mark.parametrize(
    "text, side_a, side_b",
    [
        ("17 m/s", 17.0, None),
        ("600 rpm", 20 * math.pi * 0.04, None),
        ("12 m/s : 9 m/s", 12.0, 9.0),
        ("12:9 m/s", 12.0, 9.0),
        ("12 m/s:9", 12.0, 9.0),
        ("600 : 300 rpm", 20 * math.pi * 0.04, 10 * math.pi * 0.04),
        ("12 m/s : 300 rpm", 12.0, 10 * math.pi * 0.04),
    ],
)
def test_set_speeds_are_read_in_every_notation(text: str, side_a: float, side_b: float | None, tmp_path: Path) -> None:
    scenario = loaded(tmp_path, ('layout = "pair"', f'layout = "pair"\nspeed = "{text}"')).scenario()
    stage = scenario.launcher.template
    assert stage.speed == pytest.approx(side_a, rel=1e-14)
    assert (stage.speed_b is None) == (side_b is None)
    assert side_b is None or stage.speed_b == pytest.approx(side_b, rel=1e-14)
    assert scenario.values["stage.speed"] == pytest.approx(side_a, rel=1e-14)


def test_tyre_material_by_name_by_hardness_and_by_values(tmp_path: Path) -> None:
    name = 'material = "nitrile 70"'
    others = ('density = "1.2 g/cm^3"\nhardness = 60', name + '\nmodulus = "4 MPa"\nheld_by = "lip"')
    named, hard, full = (
        loaded(tmp_path, (name, text)).scenario().launcher.template.wheel.tyre for text in (name, *others)
    )
    assert named is not None
    assert hard is not None
    assert full is not None
    assert named.material.modulus == gent_modulus(70)
    assert (hard.material.modulus, hard.material.density) == (gent_modulus(60), 1200.0)
    assert (full.material.modulus, full.material.density) == (4e6, named.material.density)
    assert (named.held_by, full.held_by) == (Hold.BOND, Hold.LIP)


def test_tyre_held_by_stretch_alone_needs_a_stretch(tmp_path: Path) -> None:
    # Without it the ring would lift off at rest, and no wheel speed would be left.
    name = 'material = "nitrile 70"'
    with pytest.raises(InputErrors, match=r"stage\.wheel\.tyre\.stretch: is missing or 0"):
        loaded(tmp_path, (name, f'{name}\nheld_by = "stretch"'))
    held = loaded(tmp_path, (name, f'{name}\nheld_by = "stretch"\nstretch = 0.05')).scenario()
    tyre = held.launcher.template.wheel.tyre
    assert tyre is not None
    assert tyre.stretch == 0.05


def test_each_stage_has_its_layout(tmp_path: Path) -> None:
    idler = '[[stages]]\nlayout = "idler"\n[stages.idler]\ninertia = "2e-5 kg m^2"\n'
    end = f'[[stages]]\nlayout = "rail"\n{idler}[[stages]]\n'
    stages = loaded(tmp_path, end=end).scenario().launcher.stages
    assert [stage.layout for stage in stages] == [RAIL, IDLER, PAIR]
    assert [stage.idler_inertia for stage in stages] == [None, 2e-5, None]


def test_draws_of_a_fit_are_read_or_refused(tmp_path: Path) -> None:
    table = tmp_path / "fitted.csv"
    draws = ('title = "Right"', 'title = "Right"\ndraws = "fitted.csv"')
    unsure = ('"40 kN/m"', '"40 kN/m ± 1 kN/m"'), ('crush = "4 mm"', 'crush = "4 mm ± 0.1 mm"')
    table.write_text("# of a fit\ncontact.stiffness,stage.crush\n4e4,0.004\n4.1e4,0.0039\n", encoding="utf-8")
    found = loaded(tmp_path, draws, *unsure).scenario().draws
    assert found is not None
    np.testing.assert_array_equal(found["stage.crush"], [0.004, 0.0039])
    for text, message in [
        ("contact.stiffness\n", "it holds no draws"),
        ("contact.stiffnes\n1\n", "no quantity of this configuration heads column 1"),
        ("contact.stiffness,stage.crush\n1,2\n1\n", "line 3 has fewer cells than heads (2)"),
        ("contact.stiffness\n1\nmuch\n", "line 3 holds a cell that is not a number"),
        ("contact.stiffness\ninf\n", "line 2 holds a number that is not finite"),
        ("contact.stiffness,contact.stiffness\n1,2\n", "two columns have the same head"),
    ]:
        table.write_text(text, encoding="utf-8")
        with pytest.raises(InputErrors) as caught:
            loaded(tmp_path, draws)
        assert str(caught.value) == f'{tmp_path}/a.toml:2: draws: "fitted.csv" cannot be used ({message})'
    table.unlink()
    with pytest.raises(InputErrors, match="No such file"):
        loaded(tmp_path, draws)
