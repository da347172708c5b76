"""Outlet, instruments, tyre modulus and wheel radius as parameters of a fit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stager.config import load
from stager.fit.fitting import fit
from stager.fit.likelihood import forward_model
from stager.fit.prediction import observations
from stager.fit.priors import own_law
from stager.fit.table.reader import read_text
from stager.model.launcher import Measuring, Outlet, Scenario
from stager.physics.chain import throw
from stager.physics.flight import indicated_speed, outlet_speed
from tests.recovery.bench import table

SPEEDS = np.repeat(np.linspace(6.0, 20.0, 8), 2)[:, None]
TEXT = """
[projectile]
shape = "ball"
mass = "18 g"
diameter = "38 mm"
[feed]
speed = "1.2 m/s"
[contact]
stiffness = "40 kN/m"
creep = "0.15 m/s"
[contact.friction]
law = "falling"
static = "0.75 ± 0.08"
sliding = "0.22 ± 0.04"
fade_speed = "9 m/s"
[outlet]
loss = "0.1 J ± 0.1 J"
[measuring]
wheel_speed = "1 ± 0.02"
exit_speed = "1 ± 0.01"
distance = "2 m"
[stage]
layout = "pair"
crush = "4 mm"
[stage.wheel]
radius = "40 mm ± 1 mm"
inertia = "4e-5 kg m^2"
[stage.wheel.tyre]
density = "1100 kg/m^3"
modulus = "3 MPa ± 1 MPa"
depth = "8 mm"
[limits]
exit_energy = "20 J"
[goal]
aim = "fastest"
"""


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    path = tmp_path_factory.mktemp("outlet") / "launcher.toml"
    path.write_text(TEXT, encoding="utf-8")
    return load(path).scenario()


def test_forward_model_includes_outlet_and_instruments(given: Scenario) -> None:
    launcher = given.launcher
    throws = table(SPEEDS, np.ones(len(SPEEDS)))
    seen = forward_model(given, own_law(given), throws).exit_speed({"measuring.wheel_speed": 1.05, "outlet.loss": 0.3})
    real = replace(launcher, outlet=Outlet(loss=0.3), measuring=Measuring(wheel_speed=1.05, distance=2.0))
    expected = indicated_speed(real, throw(real, 1.05 * SPEEDS).exit_speed)
    np.testing.assert_allclose(seen, expected, rtol=1e-4)


def test_batch_of_parameters_equals_single_evaluations(given: Scenario) -> None:
    where = forward_model(given, own_law(given), read_text(
        "wheel_1 [rpm],exit_speed [m/s]\n" + "\n".join(f"{rpm},1" for rpm in (1500, 3000, 4500)), Path("t.csv"),
        given.launcher,
    ))  # fmt: skip
    rng = np.random.default_rng(0)
    keys = [item.key for item in given.uncertain]
    assert {"outlet.loss", "measuring.wheel_speed", "stage.wheel.radius", "stage.wheel.tyre.modulus"} <= set(keys)
    draws = {item.key: item.value * rng.uniform(0.9, 1.1, 4) for item in given.uncertain}
    together = where.exit_speed(draws)
    assert together.shape == (4, 3)
    for row in range(4):
        alone = where.exit_speed({key: values[row] for key, values in draws.items()})
        np.testing.assert_allclose(together[row], alone, rtol=1e-5)
    plain = where.exit_speed({})
    for key in keys:
        moved = where.exit_speed({key: 1.2 * next(item.value for item in given.uncertain if item.key == key)})
        assert np.abs(np.log(moved / plain)).max() > 1e-4, key


def test_fit_identifies_the_outlet_loss(given: Scenario) -> None:
    # The loss is identified by slow throws, where the wheels grip.
    only = {"outlet.loss", "contact.friction.static", "contact.friction.sliding"}
    known = replace(given, uncertain=tuple(item for item in given.uncertain if item.key in only))
    real = replace(known.launcher, outlet=Outlet(loss=0.25))
    rng = np.random.default_rng(1)
    seen = indicated_speed(real, throw(real, SPEEDS).exit_speed) * np.exp(0.01 * rng.normal(size=len(SPEEDS)))
    found = fit(known, table(SPEEDS, seen), rng, other_laws=False, words=False)
    loss = next(one for one in found.parameters if one.key == "outlet.loss")
    assert loss.identified
    assert loss.interval[0] < 0.25 < loss.interval[1]
    assert loss.standard_uncertainty < 0.05


def test_projectile_stopped_in_the_outlet_has_speed_zero(given: Scenario) -> None:
    throws = table(SPEEDS, np.ones(len(SPEEDS)))
    assert (forward_model(given, own_law(given), throws).exit_speed({"outlet.loss": 1e3}) == 0).all()


def test_observations_are_corrected_to_the_last_wheel(given: Scenario) -> None:
    # The curve shows the speed at the last wheel; the chronograph measures behind outlet and air.
    launcher = given.launcher
    exact = throw(launcher, SPEEDS).exit_speed
    found = observations(given, table(SPEEDS, indicated_speed(launcher, exact)), 0)
    np.testing.assert_allclose(found.last_wheel, exact, rtol=1e-3)
    np.testing.assert_allclose(found.difference, 0.0, atol=1e-4)


def test_speeds_at_the_outlet_are_corrected_to_the_last_wheel_and_jams_stay_jams(given: Scenario) -> None:
    # From flights, as no chronograph was there; the first throw jammed.
    launcher = given.launcher
    exact = throw(launcher, SPEEDS).exit_speed
    left = np.where(np.arange(len(SPEEDS)) > 0, outlet_speed(launcher, exact), 0.0)
    found = observations(given, replace(table(SPEEDS, left), at_outlet=True), 0)
    assert found.last_wheel[0] == 0.0
    np.testing.assert_allclose(found.last_wheel[1:], exact[1:], rtol=1e-6)


def test_radius_and_tachometer_factor_are_reported_as_confounded(given: Scenario) -> None:
    # A table in rpm determines only the product of radius and tachometer factor.
    only = {"stage.wheel.radius", "measuring.wheel_speed"}
    known = replace(given, uncertain=tuple(item for item in given.uncertain if item.key in only))
    text = "wheel_1 [rpm],exit_speed [m/s]\n" + "\n".join(f"{rpm},1" for rpm in range(1200, 4000, 300))
    blank = read_text(text, Path("t.csv"), given.launcher)
    seen = forward_model(known, own_law(known), blank).exit_speed({"stage.wheel.radius": 0.0402})
    rng = np.random.default_rng(2)
    throws = replace(blank, exit_speed=seen * np.exp(0.005 * rng.normal(size=seen.size)), step=None)
    message = " ".join(fit(known, throws, rng, other_laws=False).sentences)
    assert "Radius of the wheels and true over indicated wheel speed cannot be told apart" in message
