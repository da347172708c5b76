"""Exit speeds from range and drop or from flight time and distance, with their uncertainties."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from stager.errors import InputErrors
from stager.fit.likelihood import LAUNCHER_SCATTER, forward_model, noise_of, usable
from stager.fit.priors import own_law
from stager.fit.table.reader import read_text
from stager.fit.table.throws import Throws
from stager.model.launcher import Launcher
from stager.model.projectile import DISC
from stager.physics.air import SEA_LEVEL
from stager.physics.chain import throw
from stager.physics.flight import Release, land, outlet_speed, speed_from_range
from tests.recovery.bench import scenario

BALL = scenario("seed_ball")
LIGHT = scenario("table_tennis")
FLAT = replace(BALL.launcher, projectile=replace(BALL.launcher.projectile, shape=DISC))


def _read(text: str) -> Throws:
    return read_text(text, Path("t.csv"), BALL.launcher)


def test_range_and_drop_give_the_exit_speed() -> None:
    rng = np.random.default_rng(1)
    speeds, drops = rng.uniform(2.0, 40.0, 40), rng.uniform(0.3, 3.0, 40)
    there = land(Release(projectile=BALL.launcher.projectile, speed=speeds, height=drops)).distance
    rows = "".join(f"12,{way:.9g},{drop:.9g}\n" for way, drop in zip(there, drops, strict=True))
    found = _read(f"wheel_1 [m/s],range [m],drop [m]\n{rows}")
    np.testing.assert_allclose(found.exit_speed, speeds, rtol=1e-6)
    assert found.at_outlet


def test_speed_from_range_is_found_beside_ranges_that_no_throw_reaches() -> None:
    ball = LIGHT.launcher.projectile
    speeds, drops = np.array([0.5, 3.0, 12.0, 40.0]), np.array([0.01, 2.0, 1.0, 0.3])
    there = land(Release(projectile=ball, speed=speeds, height=drops)).distance
    far = np.array([900.0, 0.0, np.nan])
    found = speed_from_range(ball, np.append(there, far), np.append(drops, np.ones(3)))
    np.testing.assert_allclose(found[:4], speeds, rtol=1e-6)
    np.testing.assert_equal(found[4:], [np.inf, 0.0, np.nan])


def test_slow_heavy_ball_follows_the_parabola() -> None:
    # A slow heavy ball: v = R·√(g/(2h)), with little air drag.
    found = _read("wheel_1 [m/s],range [cm],drop [cm]\n12,100,100\n")
    assert found.exit_speed[0] == pytest.approx(1.0 * np.sqrt(9.80665 / 2), rel=0.01)


def test_flight_time_and_distance_give_the_exit_speed() -> None:
    found = _read("wheel_1 [m/s],flight_time [ms],distance [m]\n12,500,5\n12,250,5\n")
    assert found.exit_speed[0] > 10.0  # the mean is slower than the start
    np.testing.assert_allclose(found.exit_speed, [10.0, 20.0], rtol=0.05)


def test_uncertainty_comments_are_read() -> None:
    found = _read(
        "# uncertainty: range 2 cm, drop 1 cm\nwheel_1 [m/s],range [m],drop [m]\n12,2,1\n14,4,1\n"
    )  # fmt: skip
    # 1 % or 0.5 % of the range, and half of 1 % of the drop; drag on a heavy ball adds little.
    np.testing.assert_allclose(found.uncertainty, np.hypot([0.01, 0.005], 0.005), rtol=0.03)
    wide = _read("# uncertainty: exit_speed 6 %\nwheel_1 [m/s],exit_speed [m/s]\n12,8\n")
    np.testing.assert_allclose(wide.uncertainty, [0.06])
    assert noise_of(wide).even.typical == pytest.approx(np.hypot(0.06, 0.01))
    flight = _read(
        "# uncertainty: flight_time ± 5 ms\n# uncertainty: distance ± 1 %\n"
        "wheel_1 [m/s],flight_time [s],distance [m]\n12,0.5,5\n"
    )
    np.testing.assert_allclose(flight.uncertainty, [np.hypot(0.01, 0.01)], rtol=0.05)


@pytest.mark.parametrize("measured", ["range", "drop"])
@pytest.mark.parametrize("launcher", [LIGHT.launcher, BALL.launcher, FLAT], ids=["light", "heavy", "disc"])
@examples(max_examples=1)
@given(speed=st.floats(3.0, 9.0), drop=st.floats(0.4, 2.0))
def test_uncertainty_of_range_and_drop_is_that_of_the_speed_by_the_flight(
    launcher: Launcher, measured: str, speed: float, drop: float
) -> None:
    # Drag of a disc is not known: its flight is that without air.
    air = SEA_LEVEL if launcher.projectile.shape is not DISC else None
    way = float(land(Release(projectile=launcher.projectile, speed=speed, height=drop, air=air)).distance)

    def read(factor: float) -> Throws:
        place = {"range": way, "drop": drop}
        place[measured] *= factor
        row = ",".join(map(repr, place.values()))
        text = f"# uncertainty: {measured} 3 %\nwheel_1 [m/s],range [m],drop [m]\n12,{row}\n"
        return read_text(text, Path("t.csv"), launcher)

    (stated,) = read(1.0).uncertainty
    moved = abs(np.log(read(1.03).exit_speed[0] / read(0.97).exit_speed[0])) / 2
    assert stated == pytest.approx(moved, rel=0.02)


def test_uncertainty_grows_with_drag() -> None:
    # Exponents for 2.7 g, 40 mm and a drop of 1 m: 1.28 at 5 m, 1.42 at 7 m; without air it would be 1.
    text = "# uncertainty: range 1 %\nwheel_1 [m/s],range [m],drop [m]\n12,5,1\n12,7,1\n12,0,1\n"
    found = read_text(text, Path("t.csv"), LIGHT.launcher)
    np.testing.assert_allclose(found.uncertainty, [0.0128, 0.0142, np.nan], rtol=0.02)


@pytest.mark.parametrize("stated", ["0.1 m/s", "3 %"])
@pytest.mark.parametrize("jams", [0, 1, 12])
def test_jams_do_not_change_the_uncertainty_that_a_table_states(stated: str, jams: int) -> None:
    speeds = (3.1, 5.2, 9.4, 12.6)
    rows = [*("12,0\n",) * jams, *(f"12,{speed}\n" for speed in speeds)]
    throws = _read(f"# uncertainty: exit_speed {stated}\nwheel_1 [m/s],exit_speed [m/s]\n{''.join(rows)}")
    assert throws.uncertainty is not None
    assert np.isnan(throws.uncertainty[throws.jammed]).all()
    known = np.array([0.1 / speed if stated.endswith("m/s") else 0.03 for speed in speeds])
    noise = noise_of(throws.chosen(usable(throws)))
    scatter = noise.even.typical * noise.relative(np.zeros(4))
    np.testing.assert_allclose(scatter, np.hypot(known, LAUNCHER_SCATTER))


@pytest.mark.parametrize(
    ("text", "where", "message"),
    [
        ("wheel_1 [m/s],range [m]\n12,2\n", "t.csv:1", "drop"),
        ("wheel_1 [m/s],flight_time [s]\n12,2\n", "t.csv:1", "distance"),
        ("wheel_1 [m/s]\n12\n", "t.csv:1", "exit_speed"),
        ("# uncertainty: rang 2 cm\nwheel_1 [m/s],range [m],drop [m]\n12,2,1\n", "t.csv:1", "rang"),
        ("# uncertainty: range 2 kg\nwheel_1 [m/s],range [m],drop [m]\n12,2,1\n", "t.csv:1", "kg"),
        ("# uncertainty: range\nwheel_1 [m/s],range [m],drop [m]\n12,2,1\n", "t.csv:1", "uncertainty"),
        ("wheel_1 [m/s],range [m],drop [m]\n12,900,1\n", "t.csv:2", "no speed"),
        ("wheel_1 [m/s],range [m],drop [m]\n12,2,0\n", "t.csv:2", "above 0"),
    ],
)
def test_error_names_its_line(text: str, where: str, message: str) -> None:
    with pytest.raises(InputErrors) as caught:
        _read(text)
    assert where in str(caught.value)
    assert message in str(caught.value)


def test_range_zero_is_a_jam() -> None:
    found = _read("wheel_1 [m/s],range [m],drop [m]\n12,0,1\n14,3,1\n16,,1\n")
    assert found.exit_speed[0] == 0
    assert found.without_speed == (4,)


def test_forward_model_of_a_range_is_the_outlet_speed() -> None:
    # The flight begins at the outlet's opening.
    found = _read("wheel_1 [m/s],range [m],drop [m]\n12,3,1\n14,4,1\n")
    exact = outlet_speed(BALL.launcher, throw(BALL.launcher, np.array([[12.0], [14.0]])).exit_speed)
    seen = forward_model(BALL, own_law(BALL), found).exit_speed({})
    np.testing.assert_allclose(seen, exact, rtol=1e-4)
