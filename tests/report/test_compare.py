"""The verdict of a comparison of builds and its advice."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from scipy.stats import fisher_exact

from stager.fit.compare import Compared, Contrast, compare, jams_of
from stager.fit.statistics.hypothesis_tests import Difference
from stager.report.answer import Provenance, Screen
from stager.report.compare import _headline, _span, answer, next_steps
from tests.recovery.bench import Plan, measure, scenario, table

GIVEN = scenario("constant_pair")
SPEEDS = np.repeat(np.linspace(8, 20, 6), 3)[:, None]


def _compared(factor: float, *, interleaved: bool, noise: float = 0.01) -> Compared:
    rng = np.random.default_rng(0)
    plan = Plan(noise=noise, throws=18, outliers=0.0)
    exits = [measure(GIVEN, GIVEN.launcher, SPEEDS, plan, rng).exit_speed * one for one in (1.0, factor)]
    names = np.repeat(["A", "B"], 18)
    order = rng.permutation(36) if interleaved else np.arange(36)
    speeds, both = np.concatenate([SPEEDS, SPEEDS])[order], np.concatenate(exits)[order]
    return compare(GIVEN, table(speeds, both, names[order].tolist()), ("A", "B"), rng)


def test_interleaved_throws_attribute_the_difference_to_the_builds() -> None:
    found = _compared(0.95, interleaved=True)
    assert _headline(found).startswith("A and B differ: A throws")
    assert not found.apart
    message = " ".join(next_steps(found))
    assert any(word in message for word in ("easure the gap", "eigh ten", "lean wheels", "ress both"))


@given(low=st.floats(-0.1, 0.1), width=st.floats(1e-4, 0.1))
def test_it_shows_on_which_side_of_no_difference_an_interval_ends(low: float, width: float) -> None:
    ends = low, low + width
    test = Difference(value=low + width / 2, standard_uncertainty=width / 4, freedom=9, probability=0.5, interval=ends)
    shown = [float(one.strip("()").removesuffix(" %")) for one in _span(test).split(" (")[1].split(" to ")]
    for end, text in zip(ends, shown, strict=True):
        assert np.sign(text) == np.sign(end) or abs(end) < 6e-6


def test_throws_in_blocks_cannot_separate_build_from_time() -> None:
    found = _compared(0.95, interleaved=False)
    assert found.apart
    assert _headline(found).startswith("A throws ")
    assert _headline(found).endswith(", by the builds or by the time between them: all throws of one build came first.")
    assert "take turns" in next_steps(found)[0]


@pytest.mark.parametrize("noise", [0.005, 0.05])
def test_no_difference_states_the_detectable_one(noise: float) -> None:
    found = _compared(1.0, interleaved=True, noise=noise)
    assert not found.different
    message = " ".join(next_steps(found))
    assert ("could have been missed" in message) == (noise > 0.02)


def _with_jams(jammed: tuple[int, int], seed: int, *, extra: bool = False) -> tuple[Compared, Screen, dict[str, Any]]:
    """Compare two equal builds of 12 throws at 3 settings, some of which jam; extra: other throws in the same table."""
    rng = np.random.default_rng(seed)
    speeds = np.repeat(np.repeat([8.0, 12.0, 16.0], 4), 2)[:, None]
    exits = measure(GIVEN, GIVEN.launcher, speeds, Plan(noise=0.01, throws=24, outliers=0.0), rng).exit_speed
    build = np.tile(["A", "B"], 12)
    for name, count in zip("AB", jammed, strict=True):
        exits[rng.choice(np.flatnonzero(build == name), count, replace=False)] = 0.0
    order = rng.permutation(24)
    speeds, exits, names = speeds[order], exits[order], build[order].tolist()
    if extra:
        speeds, exits = np.append([[5.0]] * 3, speeds, axis=0), np.append([0.0] * 3, exits)
        names = ["C"] * 3 + names
    throws = table(speeds, exits, names)
    found = compare(GIVEN, throws, ("A", "B"), rng, brief=True)
    done = answer(Contrast(compared=found, drifts=()), throws, GIVEN.launcher, Provenance(config_sha256="", seed=0))
    return found, done.screen, done.document


@examples(max_examples=25)
@given(jammed=st.tuples(st.integers(0, 8), st.integers(0, 8)), seed=st.integers(0, 99))
def test_jams_are_told_with_their_numbers(jammed: tuple[int, int], seed: int) -> None:
    found, screen, document = _with_jams(jammed, seed)
    assert document["jams"]["jammed"] == list(jammed)
    assert document["jams"]["throws"] == [12, 12]
    assert found.different == (found.speeds_differ or found.jams.different)
    words = " ".join(screen.notes)
    counts = [count or "none" for count in jammed]
    assert (f"A jammed in {counts[0]} of 12 throws, B in {counts[1]} of 12" in words) == any(jammed)
    worse = "AB"[int(jammed[1] > jammed[0])]
    assert screen.headline.startswith(f"{worse} jams more often") == found.jams.different


@pytest.mark.parametrize("jammed", [(0, 0), (0, 6), (6, 0), (2, 4), (5, 5), (0, 11)])
def test_jams_at_one_setting_are_tested_as_fisher_does(jammed: tuple[int, int]) -> None:
    exits = np.ones(27)
    exits[: jammed[0]] = exits[12 : 12 + jammed[1]] = 0.0
    found = jams_of(table(np.full((27, 1), 9.0), exits, ["A"] * 12 + ["B"] * 15), ("A", "B"))
    counts = np.array([jammed, (12 - jammed[0], 15 - jammed[1])])
    assert found.probability == pytest.approx(fisher_exact(counts).pvalue)


def test_jams_at_settings_of_one_build_alone_show_no_difference_of_builds() -> None:
    speeds = np.repeat([8.0, 30.0], 12)[:, None]
    found = jams_of(table(speeds, np.repeat([1.0, 0.0], 12), ["A"] * 12 + ["B"] * 12), ("A", "B"))
    assert found.jammed == (0, 12)
    assert found.probability == 1
    assert not found.different


def test_false_claims_of_jams_stay_at_the_5_percent_level() -> None:
    rng = np.random.default_rng(5)
    speeds = np.tile(np.repeat([8.0, 12.0, 16.0, 20.0], 6), 2)[:, None]
    chance = np.tile(np.repeat([0.0, 0.2, 0.5, 0.8], 6), 2)
    names = ["A"] * 24 + ["B"] * 24
    claims = [
        jams_of(table(speeds, np.where(rng.random(48) < chance, 0.0, 1.0), names), ("A", "B")).different
        for _ in range(400)
    ]
    assert 0.005 < np.mean(claims) < 0.05 + 2 * np.sqrt(0.05 * 0.95 / 400)


def test_settings_are_those_of_the_builds_in_a_table_with_other_throws() -> None:
    _, _, alone = _with_jams((2, 3), 7)
    _, _, among = _with_jams((2, 3), 7, extra=True)
    assert among["settings"] == alone["settings"]
    assert [row["wheel_speed_m_s"] for row in among["settings"]] == [[8.0], [12.0], [16.0]]
    assert among["jams"] == alone["jams"]
