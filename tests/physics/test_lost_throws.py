"""A throw that the allowed number of steps does not suffice for is an error, or in a fit a jam."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import stager
from stager.errors import NotComputable
from stager.fit.likelihood import forward_model
from stager.fit.priors import own_law
from stager.model.launcher import Launcher
from stager.physics.chain import Options, throw
from stager.physics.friction import Falling
from stager.physics.records import Grip
from tests.recovery.bench import table

TABLE = Path(__file__).parents[1] / "published" / "data" / "two_wheels_17mm.toml"
SETTINGS = np.full((2, 1), 17.28390469)


def remote() -> Launcher:
    """Return a sample of a fit that lies far out: creep and fade speed are next to nothing, the feed barely moves."""
    given = stager.load(TABLE).scenario.launcher
    friction = Falling(1.07540265, 1.69137304, 3.96e-4)
    contact = replace(
        given.contact, stiffness=43718.8968, stiffening=7.20979123e-3, rebound=0.745566268,
        creep=np.array([1e-7, 0.15]), friction=friction, rail_friction=friction,
    )  # fmt: skip
    template = given.template
    wheel = replace(template.wheel, radius=0.0550163773)
    template = replace(template, wheel=wheel, crush=2 * 3.55007028e-3)
    feed = replace(given.feed, speed=np.array([1.25e-3, 2.0]))
    return replace(given, contact=contact, feed=feed, template=template, stages=())


def test_lost_throw_is_an_error_by_default() -> None:
    with pytest.raises(NotComputable, match="more than the allowed number of steps"):
        throw(remote(), SETTINGS, options=Options(tolerance=1e-4))


def test_lost_throw_is_a_jam_where_it_is_allowed_to_be() -> None:
    found = throw(remote(), SETTINGS, options=Options(tolerance=1e-4, lost_jams=True))
    assert found.jammed.tolist() == [True, False]
    assert found.exit_speed[1] > 5.0
    assert found.exit_speed[0] == 0.0
    assert Grip.NOT_REACHED in found.stages.grip[0]


def test_fit_takes_lost_throws_of_remote_samples_for_jams() -> None:
    given, far = stager.load(TABLE).scenario, remote()
    lanes = replace(
        far, contact=replace(far.contact, creep=np.array([[1e-7], [0.15]])),
        feed=replace(far.feed, speed=np.array([[1.25e-3], [2.0]])),
    )  # fmt: skip
    model = forward_model(given, own_law(given), table(SETTINGS, np.full(2, 16.0)))
    found = model.exit_speed_of(lanes)
    assert (found[0] == 0.0).all()
    assert (found[1] > 5.0).all()
