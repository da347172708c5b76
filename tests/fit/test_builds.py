"""Comparing builds, drift tests, and the choice of the next throws."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given as drawn
from hypothesis import settings as examples
from hypothesis import strategies as st

from stager.errors import InputErrors
from stager.fit import compare as comparing
from stager.fit.compare import CONFOUNDED, Compared, _beside_model, compare, drifts
from stager.fit.experiment_design import suggest
from stager.fit.fitting import fit
from stager.fit.priors import own_law
from stager.fit.table import Throws
from stager.fit.table.throws import passed_over
from stager.model.arrays import Floats
from tests.fit.statistics.test_welch import welch
from tests.recovery.bench import Plan, draw_truth, finder, measure, scenario, table

PLAN = Plan(noise=0.01, throws=0, outliers=0.0)
GIVEN = scenario("constant_pair")
SPEEDS = np.repeat(np.linspace(6.0, 20.0, 8), 3)[:, None]


def _two(change: dict[str, float], speeds: Floats = SPEEDS, seed: int = 1) -> Throws:
    """Return interleaved throws of builds A and B; B has its quantities multiplied by the factors of `change`."""
    rng = np.random.default_rng(seed)
    truth = draw_truth(GIVEN, rng)
    other = {key: value * change.get(key, 1.0) for key, value in truth.items()}
    parts = [measure(GIVEN, own_law(GIVEN).launcher(GIVEN, known), speeds, PLAN, rng) for known in (truth, other)]
    both = table(np.concatenate([speeds, speeds]), np.concatenate([p.exit_speed for p in parts]))
    turns = np.arange(2 * len(speeds)).reshape(2, -1).T.reshape(-1)
    named = np.array(["A"] * len(speeds) + ["B"] * len(speeds))
    return replace(both, build=named).chosen(turns)


def test_more_crush_is_found_with_its_equivalent_explanations() -> None:
    found = compare(GIVEN, _two({"stage.crush": 1.1}), ("A", "B"), np.random.default_rng(0))
    assert found.different
    assert found.deciding.value < 0
    assert found.decides == "welch"
    assert found.explanations[0].gain > 10
    crush = next(one for one in found.explanations if one.words == "crush")
    assert crush.interval[0] < 1.1 < crush.interval[1]
    best = {one.words for one in found.explanations[: found.equal]}
    # With constant friction only stiffness × friction × a power of crush / mass is identifiable.
    assert {"crush", "friction"} <= best


def test_explanations_do_not_depend_on_which_build_is_named_first() -> None:
    throws = _two({"feed.speed": 2.5})
    one, other = (compare(GIVEN, throws, names, np.random.default_rng(0)) for names in (("A", "B"), ("B", "A")))
    assert one.equal == other.equal
    for first, second in zip(one.explanations, other.explanations, strict=True):
        assert first.name == second.name
        assert first.factor * second.factor == pytest.approx(1.0)
        assert first.aicc == pytest.approx(second.aicc)
    assert one.explanations[0].name == "feed"
    assert one.explanations[0].factor == pytest.approx(2.5, rel=0.1)


def test_comparison_at_one_setting_is_close_to_welch() -> None:
    # Not exactly equal, as outliers are downweighted.
    throws = _two({"stage.crush": 1.2}, np.full((6, 1), 16.0))
    found = compare(GIVEN, throws, ("A", "B"), np.random.default_rng(0), brief=True)
    logs = np.log(throws.exit_speed)
    expected = welch(logs[throws.build == "A"], logs[throws.build == "B"])
    assert found.welch is not None
    assert found.welch.value == pytest.approx(expected.value, abs=0.5 * expected.standard_uncertainty)
    assert found.welch.standard_uncertainty == pytest.approx(expected.standard_uncertainty, rel=0.4)
    assert found.welch.freedom == pytest.approx(expected.freedom, rel=0.3)


def test_builds_at_different_settings_are_compared_by_the_model() -> None:
    throws = _two({"contact.friction.coefficient": 1.15})
    apart = throws.wheels[0].values * np.where(throws.build == "A", 1.0, 1.013)
    throws = replace(throws, wheels=(replace(throws.wheels[0], values=apart),))
    found = compare(GIVEN, throws, ("A", "B"), np.random.default_rng(0), brief=True)
    assert found.welch is None
    assert found.paired is None
    assert found.decides == "model"
    assert found.different


def _compared_at(speeds: tuple[Floats, Floats], seed: int) -> Compared:
    """Compare two equal builds that take turns, each at wheel speeds of its own [m/s], (n,)."""
    rng = np.random.default_rng(seed)
    real = own_law(GIVEN).launcher(GIVEN, draw_truth(GIVEN, rng))
    rows = np.column_stack([rng.permutation(own) for own in speeds]).reshape(-1, 1)
    exits = measure(GIVEN, real, rows, PLAN, rng).exit_speed
    both = table(rows, exits, ["A", "B"] * speeds[0].size)
    return compare(GIVEN, both, ("A", "B"), np.random.default_rng(0), brief=True)


@examples(max_examples=12)
@drawn(top=st.floats(8.0, 12.0), gap=st.floats(0.6, 1.8), seed=st.integers(0, 99))
def test_equal_builds_at_other_wheel_speeds_are_compared_within_reason_or_not_at_all(
    top: float, gap: float, seed: int
) -> None:
    slow, fast = np.linspace(6.0, top, 12), np.linspace(gap * top, 1.7 * gap * top, 12)
    try:
        found = _compared_at((slow, fast), seed)
    except InputErrors as refused:
        (error,) = refused.errors
        assert "measure both builds at the same wheel speeds" in error.hint
        return
    assert gap < 1.5
    assert abs(found.deciding.value) < 0.1


@pytest.mark.parametrize(
    ("builds", "words"), [(("A", "C"), 'no throw of build "C"'), (("A", "A"), "two builds that differ")]
)
def test_unknown_or_equal_builds_are_input_errors(builds: tuple[str, str], words: str) -> None:
    with pytest.raises(InputErrors, match=words):
        compare(GIVEN, _two({}), builds, np.random.default_rng(0))


def _session(change: float, speeds: Floats, *, shuffled: bool, seed: int = 3) -> Throws:
    """Return throws whose speed drifts by the relative `change` from first to last."""
    rng = np.random.default_rng(seed)
    if shuffled:
        speeds = rng.permutation(speeds)
    real = own_law(GIVEN).launcher(GIVEN, draw_truth(GIVEN, rng))
    exits = measure(GIVEN, real, speeds, PLAN, rng).exit_speed
    return table(speeds, exits * (1 + change * np.linspace(0, 1, exits.size)))


def test_drift_is_found_in_shuffled_throws() -> None:
    (found,) = drifts(GIVEN, _session(-0.05, SPEEDS, shuffled=True), np.random.default_rng(0))
    assert found.claimed
    assert found.change is not None
    low, high = found.change.interval
    assert low < -0.05 < high


def test_drift_confounded_with_the_settings_is_not_claimed() -> None:
    # A model error along the wheel speed would have the same effect.
    rising = np.linspace(6.0, 20.0, 16)[:, None]
    throws = replace(_session(-0.05, rising, shuffled=False), numbered=True)
    (found,) = drifts(GIVEN, throws, np.random.default_rng(0))
    assert found.change is None
    assert "rise together" in found.reason


@pytest.mark.parametrize("settings", [1, 2, 3, 6])
@pytest.mark.parametrize("seed", range(3))
def test_no_drift_is_tested_in_rows_that_a_spreadsheet_may_have_sorted(settings: int, seed: int) -> None:
    throws = _session(0.0, np.resize(SPEEDS[::3][:settings], (12, 1)), shuffled=True, seed=seed)
    rows = throws.chosen(np.lexsort((throws.exit_speed, throws.wheels[0].values)))
    rows = replace(rows, order=throws.order, line=throws.line)
    (found,) = drifts(GIVEN, rows, np.random.default_rng(0))
    assert found.change is None
    assert "number them" in found.reason
    (numbered,) = drifts(GIVEN, replace(rows, numbered=True), np.random.default_rng(0))
    assert settings > 1 or numbered.claimed
    assert drifts(GIVEN, throws, np.random.default_rng(0))[0].change is not None


@pytest.mark.parametrize("clock", ["numbers", "times"])
def test_builds_thrown_in_turn_are_told_from_builds_one_after_the_other(clock: str) -> None:
    def session(when: Floats) -> tuple[bool, str]:
        """Return whether builds A and B, whose rows follow each other, are said to be apart, and the note."""
        throws = table(np.resize(SPEEDS, (24, 1)), np.linspace(8.0, 9.0, 24), ["A"] * 12 + ["B"] * 12)
        throws = replace(throws, order=when, numbered=True) if clock == "numbers" else replace(throws, time=when)
        return compare(GIVEN, throws, ("A", "B"), np.random.default_rng(0), brief=True).apart, passed_over(throws)

    assert session(np.arange(24.0)) == (True, "")
    assert session(np.tile(np.arange(12.0), 2)) == (True, clock)
    if clock == "numbers":
        # Distinct numbers count through all builds. Times may also have been measured anew, by two clocks.
        assert session(np.arange(24.0).reshape(-1, 2).T.reshape(-1)) == (False, "")


def test_drift_test_needs_eight_throws() -> None:
    (found,) = drifts(GIVEN, _session(-0.05, SPEEDS[:4], shuffled=True), np.random.default_rng(0))
    assert found.change is None
    assert "at least 8 throws" in found.reason


@pytest.mark.usefixtures("few_draws")
def test_next_proposes_throws_beyond_the_gripping_ones() -> None:
    # Throws in grip do not locate the grip limit, so the next throw must be faster than those so far.
    given = scenario("seed_ball")
    rng = np.random.default_rng(4)
    real = own_law(given).launcher(given, draw_truth(given, rng))
    low = np.linspace(4.0, 8.0, 10)[:, None]
    done = fit(given, measure(given, real, low, PLAN, rng), rng, other_laws=False, words=False)
    found = suggest(done, finder(given), rng, throws=3)
    assert not found.enough
    assert found.helps
    assert found.plan[0].wheel_speed[0] > 8.0
    left = [one.wrong_after for one in found.plan]
    assert found.wrong > left[0] > left[-1]


@pytest.mark.usefixtures("few_draws")
def test_next_stops_once_decisions_are_certain() -> None:
    given = scenario("constant_pair")
    rng = np.random.default_rng(5)
    real = own_law(given).launcher(given, draw_truth(given, rng))
    precise = Plan(noise=0.002, throws=0, outliers=0.0)
    many = np.repeat(np.linspace(5.0, 20.0, 12), 4)[:, None]
    done = fit(given, measure(given, real, many, precise, rng), rng, other_laws=False, words=False)
    found = suggest(done, finder(given), rng)
    assert found.wrong_stage < 0.025
    assert found.enough
    assert {one.purpose for one in found.plan} == {"limit"}
    # In `bench`, which asks for one throw at a time, the plan is over.
    assert suggest(done, finder(given), rng, least=1).plan == ()


@pytest.mark.parametrize(
    ("count", "along", "scatter", "reason"),
    [
        (12, 0.3, 0.01, ""), (12, 0.3, 0.0, "do not scatter"), (3, 0.3, 0.01, "too few throws"),
        (12, 1.0, 0.01, CONFOUNDED), (12, 0.99, 0.01, CONFOUNDED),
    ],
    ids=["free", "no scatter", "few", "the model's own", "nearly so"],
)  # fmt: skip
def test_effect_beside_the_model_has_a_value_or_a_reason(
    monkeypatch: pytest.MonkeyPatch, count: int, along: float, scatter: float, reason: str
) -> None:
    rng, model = np.random.default_rng(3), np.column_stack([np.ones(count), np.linspace(-1.0, 1.0, count)])
    other = rng.normal(size=count)
    column = along * model[:, 1] + np.sqrt(1 - along**2) * other * 0.6
    monkeypatch.setattr(comparing, "downweighted_residuals", lambda _: scatter * (3.0 * other + rng.normal(size=count)))
    monkeypatch.setattr(comparing, "model_columns", lambda _: model)
    found, said = _beside_model(cast(Any, SimpleNamespace()), column)
    assert (found is None) == bool(reason)
    assert reason in said
    assert bool(reason) == bool(said)
