"""Friction that drifts from throw to throw is fitted with the rest: what is told is of the session's end."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from stager.fit.fitting import fit
from stager.fit.posterior import Fit
from stager.fit.prediction import after
from stager.fit.priors import DRIFT, own_law, with_friction
from stager.fit.table import Throws
from stager.fit.table.throws import moments
from stager.model.arrays import Floats
from stager.physics.chain import throw
from stager.report.fit import dated
from tests.recovery.bench import scenario, table

GIVEN = scenario("seed_ball")
COUNT, SPEEDS, FAST = 24, 8, 20.0


def _throws(change: float, *, shuffled: bool = True, seed: int = 0) -> Throws:
    """Friction falls by `change` from the first to the last throw; the configuration's is that of the last."""
    rng = np.random.default_rng(seed)
    speeds = np.repeat(np.linspace(8, 22, SPEEDS), COUNT // SPEEDS)[:, None]
    speeds = rng.permutation(speeds) if shuffled else speeds
    factor = (1 - change) ** np.linspace(-1, 0, COUNT)
    worn = with_friction(GIVEN.launcher, GIVEN.launcher.contact.friction.scaled(factor))
    exits = throw(worn, speeds).exit_speed * np.exp(0.01 * rng.normal(size=COUNT))
    return replace(table(speeds, exits), numbered=True)


@cache
def _fitted(change: float, shuffled: bool = True) -> Fit:
    throws = _throws(change, shuffled=shuffled)
    return fit(GIVEN, throws, np.random.default_rng(0), other_laws=False, words=False)


def _drawn(found: Fit) -> Floats:
    """Exit speeds of draws at the fastest setting [m/s]."""
    ensemble = after(found, np.random.default_rng(1), 300)
    return throw(ensemble.launcher, np.full((301, 1), FAST)).exit_speed[1:]


def test_drift_is_learned_and_the_launcher_is_that_of_the_session_s_end() -> None:
    found = _fitted(0.2)
    assert found.adequate
    assert found.drift is not None
    low, high = found.drift.interval
    assert low < np.log(1 - 0.2) < high < np.log(1 - 0.1)
    low, high = np.quantile(_drawn(found), [0.025, 0.975])
    assert low < float(throw(GIVEN.launcher, np.array([FAST])).exit_speed) < high


def test_speeds_in_order_leave_more_doubt_than_shuffled_ones() -> None:
    """Throws that grow slower as wheels turn faster may as well drift."""
    shuffled, ordered = (float(np.std(np.log(_drawn(_fitted(0.0, way))))) for way in (True, False))
    assert ordered > 1.15 * shuffled


@pytest.mark.parametrize("change", [0.0, 0.2])
def test_drift_is_said_where_it_shows(change: float) -> None:
    words = dated(_fitted(change))
    assert bool(words) is (change > 0)
    assert not words or ("friction fell by " in words and "at the session's end" in words)


def test_drift_that_shuffled_throws_would_show_is_not_fitted() -> None:
    assert _fitted(0.0).drift is None
    assert _fitted(0.0, False).drift is not None


def test_drift_is_no_parameter_of_the_launcher() -> None:
    found = _fitted(0.2)
    assert DRIFT in found.posterior.values
    assert DRIFT not in found.posterior.even(np.random.default_rng(0), 10)
    assert DRIFT not in [one.key for one in found.parameters]
    assert own_law(GIVEN).launcher(GIVEN, {DRIFT: 0.1}) == GIVEN.launcher


def test_rows_sorted_by_speed_tell_no_order_unless_they_are_numbered() -> None:
    ordered, shuffled = _throws(0.0, shuffled=False), _throws(0.0)
    assert moments(replace(ordered, numbered=False)) is None
    for known in (ordered, replace(shuffled, numbered=False), replace(ordered, numbered=False, time=ordered.order)):
        found = moments(known)
        assert found is not None
        np.testing.assert_allclose(found, np.linspace(-1, 0, COUNT))


@pytest.mark.parametrize("at", [1.0, 12.0, 30.0])
def test_jams_do_not_make_sorted_rows_an_order(at: float) -> None:
    throws = replace(_throws(0.0, shuffled=False), numbered=False)
    wheels, exits = np.append(throws.wheels[0].values, [at, at]), np.append(throws.exit_speed, [0.0, 0.0])
    rows = np.argsort(wheels, kind="stable")
    sorted_rows = table(wheels[rows][:, None], exits[rows])
    # A fit puts the jams last.
    assert moments(sorted_rows.chosen(np.argsort(sorted_rows.jammed, kind="stable"))) is None
