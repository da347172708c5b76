"""The transit against the slow reference, over launchers drawn across shapes, layouts, laws and stage counts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stager.hardware.contact import Contact
from stager.hardware.drive import Drive
from stager.hardware.launcher import Feed, Launcher
from stager.hardware.material import TyreMaterial
from stager.hardware.projectile import BALL, DISC, HOLLOW_BALL, RING, ROD, Projectile
from stager.hardware.stage import IDLER, PAIR, RAIL, Stage
from stager.hardware.wheel import Tyre, Wheel
from stager.physics.chain import throw
from stager.physics.friction import Bell, Constant, Falling, Tabulated
from tests.oracle.reference import reference

EXIT, SPIN, HEAT, BAND = 1e-4, 1e-3, 1e-3, 1e-3


def _uniform(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


LAWS = st.one_of(
    st.builds(Constant, _uniform(0.3, 1.0)),
    st.builds(Falling, _uniform(0.5, 1.0), _uniform(0.15, 0.45), _uniform(3.0, 15.0), st.sampled_from([1.0, 2.0])),
    st.builds(Bell, _uniform(0.5, 1.2), _uniform(0.5, 4.0), _uniform(1.5, 3.0)),
    st.builds(Tabulated, st.just((0.0, 2.0, 8.0, 20.0)), st.tuples(*[_uniform(0.2, 0.9)] * 4)),
)
ROUND = st.sampled_from([DISC, RING, BALL, HOLLOW_BALL])


@st.composite
def launchers(draw: st.DrawFn, layout: object, rod: bool) -> tuple[Launcher, list[float]]:
    """A launcher and its set speeds."""
    radius = draw(_uniform(0.02, 0.05))
    diameter = draw(_uniform(0.025, 0.07))
    mass = draw(_uniform(0.003, 0.06))
    exponent = draw(st.sampled_from([1.0, 1.0, 1.5]))
    crush = draw(_uniform(0.001, 0.004))
    stiffness = draw(_uniform(5e3, 4e4)) * (30.0 if exponent > 1 else 1.0)
    tyre = Tyre(material=TyreMaterial(name="own", density=1200.0, modulus=4e6), depth=0.003)
    drive = Drive(speed_constant=draw(_uniform(80, 200)), resistance=0.08, no_load_current=0.8, current_limit=25.0)
    stage = Stage(
        layout=layout, crush=crush, clearance=draw(_uniform(0.003, 0.02)),
        wheel=Wheel(radius=radius, inertia=draw(_uniform(5e-6, 2e-4)), tyre=draw(st.sampled_from([None, tyre]))),
        drive=draw(st.sampled_from([None, drive])), idler_inertia=draw(_uniform(1e-6, 3e-5)),
    )  # fmt: skip
    friction = draw(LAWS)
    launcher = Launcher(
        projectile=Projectile(
            shape=ROD if rod else draw(ROUND), mass=mass, diameter=diameter, length=draw(_uniform(0.02, 0.15))
        ),
        feed=Feed(speed=draw(_uniform(0.8, 5.0))),
        contact=Contact(
            stiffness=stiffness, creep=draw(_uniform(0.03, 0.4)), friction=friction, exponent=exponent,
            rail_friction=draw(st.sampled_from([friction, Constant(0.5)])), rebound=draw(_uniform(0.4, 1.0)),
        ),
        template=stage,
    )  # fmt: skip
    count = draw(st.integers(1, 3 if rod else 4))
    first = draw(_uniform(4.0, 20.0))
    return launcher, [first * (1 + 0.3 * k) for k in range(count)]


def _compare(drawn: tuple[Launcher, list[float]]) -> None:
    launcher, speeds = drawn
    done = throw(launcher, np.array(speeds))
    slow = reference(launcher, speeds)
    if bool(done.jammed) != slow.jammed:
        near = [
            bool(throw(launcher, np.array(speeds), entry_speed=launcher.feed.speed * (1 + side)).jammed)
            for side in (-BAND, BAND)
        ]
        assert near[0] != near[1], "jams disagree away from the border of jamming"
        return
    if slow.jammed:
        return
    r = launcher.projectile.radius
    assert float(done.exit_speed) == pytest.approx(slow.exit_speed, rel=EXIT)
    assert r * float(done.spin) == pytest.approx(r * slow.spin, abs=SPIN * slow.exit_speed)
    heat = float(done.stages.slip_heat.sum())
    assert heat == pytest.approx(slow.slip_heat, rel=HEAT, abs=1e-4 * launcher.projectile.mass * slow.exit_speed**2)


CASES = settings(max_examples=54, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


@given(launchers(PAIR, rod=False))
@CASES
def test_pairs(drawn: tuple[Launcher, list[float]]) -> None:
    _compare(drawn)


@given(launchers(RAIL, rod=False))
@CASES
def test_rails(drawn: tuple[Launcher, list[float]]) -> None:
    _compare(drawn)


@given(launchers(IDLER, rod=False))
@CASES
def test_idlers(drawn: tuple[Launcher, list[float]]) -> None:
    _compare(drawn)


@given(launchers(PAIR, rod=True))
@CASES
def test_rods(drawn: tuple[Launcher, list[float]]) -> None:
    _compare(drawn)
