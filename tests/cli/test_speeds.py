"""Wheel speeds on the command line. Conversion of rpm: 2π/60 × radius at rest."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from stager.api.loaded import Speed, set_speeds
from stager.errors import InputError
from stager.model.launcher import Contact, Feed, Launcher
from stager.model.projectile import BALL, Projectile
from stager.model.stage import IDLER, PAIR, RAIL, Layout, Stage, Wheel
from stager.physics.friction import Constant
from tests.cli.run import TEMPLATE, stager

RADIUS = 0.04
RPM = 2 * np.pi / 60 * RADIUS


def _launcher(layout: Layout = PAIR, speed: float | None = None, speed_b: float | None = None) -> Launcher:
    law = Constant(0.5)
    stage = Stage(layout=layout, wheel=Wheel(radius=RADIUS, inertia=4e-5), crush=0.004, speed=speed, speed_b=speed_b)
    return Launcher(
        projectile=Projectile(shape=BALL, mass=0.018, diameter=0.038),
        feed=Feed(speed=1.2),
        contact=Contact(stiffness=40e3, creep=0.15, friction=law, rail_friction=law),
        template=stage,
    )


@pytest.mark.parametrize(
    ("given", "side_a", "side_b"),
    [
        ([12], [12], None),
        (["12", "18 m/s"], [12, 18], None),
        (["1.2e1"], [12], None),
        (["9000 rpm"], [9000 * RPM], None),
        (["9000rpm", "150 rev/s"], [9000 * RPM, 9000 * RPM], None),
        (["12:9"], [12], [9]),
        ([(12, 9), 15], [12, 15], [9, 15]),
        (["9000:8000 rpm"], [9000 * RPM], [8000 * RPM]),
        (["9000 rpm:10 m/s"], [9000 * RPM], [10]),
        (["12:12"], [12], None),
        (["43.2 km/h"], [12], None),
    ],
)
def test_speeds_are_parsed(given: list[Speed], side_a: list[float], side_b: list[float] | None) -> None:
    found = set_speeds(_launcher(), given)
    np.testing.assert_allclose(found.side_a, side_a)
    assert (found.side_b is None) == (side_b is None)
    if side_b is not None:
        np.testing.assert_allclose(found.side_b, side_b)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ("fast", "cannot read"),
        ("12 kg", "kg"),
        ("-3", "0 m/s or more"),
        ("nan", "0 m/s or more"),
        ("inf", "0 m/s or more"),
        ("1:2:3", "two wheels at most"),
        ("12:", "cannot read"),
        ("", "cannot read"),
    ],
)
def test_invalid_speed_is_an_input_error_with_a_hint(given: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        set_speeds(_launcher(), [given])
    assert "9000 rpm" in caught.value.hint


@pytest.mark.parametrize("layout", [RAIL, IDLER], ids=lambda layout: layout.name)
def test_two_speeds_are_refused_for_a_rail_or_an_idler(layout: Layout) -> None:
    with pytest.raises(InputError, match=f'stage 1 has one driven wheel, as its layout is "{layout.name}"'):
        set_speeds(_launcher(layout), ["12:9"])


# A thin rim of the strongest fibre bursts at √(7 GPa / 1.8 g/cm³) ≈ 2 km/s, so higher speeds are refused.
@pytest.mark.parametrize("given", [["12", "4 km/s"], ["1e300"], ["12:4000"], ["1e6 rpm:2e6 rpm"]])
def test_speed_above_any_burst_speed_is_an_input_error(given: list[Speed]) -> None:
    with pytest.raises(InputError, match="no wheel holds together at more than 3000 m/s"):
        set_speeds(_launcher(), given)


def test_set_speed_above_any_burst_speed_is_an_input_error() -> None:
    with pytest.raises(InputError, match="no wheel holds together"):
        set_speeds(_launcher(speed=1e5), [])


def test_set_speeds_are_the_default() -> None:
    found = set_speeds(_launcher(speed=12.0, speed_b=9.0), [])
    np.testing.assert_array_equal(found.side_a, [12.0])
    assert found.side_b is not None
    np.testing.assert_array_equal(found.side_b, [9.0])
    with pytest.raises(InputError, match="no set speed"):
        set_speeds(_launcher(), [])


def test_error_of_a_set_speed_names_its_line(tmp_path: Path) -> None:
    lines = TEMPLATE.read_text(encoding="utf-8").splitlines()
    path = tmp_path / "a.toml"
    head = next(k for k, said in enumerate(lines) if said.startswith("[stage]"))
    line = next(k for k, said in enumerate(lines) if said.startswith("speed = ") and k > head)

    def error_of(speed: str, *more: str, command: str = "throw") -> str:
        path.write_text("\n".join([*lines[:line], speed, *lines[line + 1 :], *more]), encoding="utf-8")
        ran = stager(command, str(path))
        assert ran.status == 2
        return ran.err

    said = error_of('speed = "4 km/s"')
    assert said.startswith(f"{path}:{line + 1}: stage.speed: must be at most 3 km/s (got 4 km/s)")
    said = error_of('speed = "12 m/s"', "[[stages]]", "[[stages]]", 'speed = "1e6 rpm"', command="check")
    assert said.startswith(f"{path}:{len(lines) + 3}: stages.2.speed: must be at most ")
    assert error_of("").startswith(f"{path}:{head + 1}: stage.speed: is missing: stage 1 has no")
    assert stager("throw", str(path), "--speed", "4e3").err.startswith("speed: no wheel holds together")


@pytest.mark.parametrize("stage, speeds, hint", [("1", 1, "give none"), ("2", 2, "give --speed 12,"), ("2", 3, "")])
def test_sweep_refuses_speeds_of_the_swept_and_later_stages(stage: str, speeds: int, hint: str) -> None:
    ran = stager("sweep", str(TEMPLATE), "--stage", stage, *["--speed", "12"] * speeds)
    assert ran.status == 2
    assert ran.out == ""
    assert f"stage {stage}, whose speed is swept\n\nhint: {hint}" in ran.err
    assert f"--stage {speeds + 1}\n" in ran.err
