"""Model adequacy: a fit of the right model passes, planted errors are detected and named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from stager.fit import adequacy, posterior
from stager.fit.adequacy import PAIRS, Shift, _shift_size, _too_fast, repeats, undetermined
from stager.fit.compare import compare
from stager.fit.explanations import PERTURBATIONS, TYPICAL
from stager.fit.fitting import fit
from stager.fit.likelihood import Noise, forward_model
from stager.fit.posterior import Fit, Repeats
from stager.fit.priors import LogNormal, Normal, own_law, with_friction
from stager.fit.table import Throws
from stager.fit.table.reader import read
from stager.model.arrays import Floats
from stager.physics.chain import throw
from stager.report import fit as report
from tests.recovery.bench import EVERY, ROOT, Plan, draw_truth, measure, scenario, settings, table

COUNT = 30


def _measured(name: str, seed: int, change: Callable[[Floats, Floats], Floats] | None = None) -> Throws:
    """Return shuffled throws of a drawn launcher; `change` plants an error, given exit speeds and order (0 to 1)."""
    given, rng = scenario(name), np.random.default_rng(seed)
    real = own_law(given).launcher(given, draw_truth(given, rng))
    plan = Plan(noise=0.012, throws=COUNT, outliers=0.0)
    throws = measure(given, real, rng.permutation(settings(given, COUNT, rng)), plan, rng)
    if change is None:
        return throws
    return replace(throws, exit_speed=change(throws.exit_speed, np.linspace(0, 1, COUNT)))


def _fit(name: str, throws: Throws, *, words: bool = True) -> Fit:
    # Misfits and their causes rest on the best fit: the posterior, half of the work, is drawn in one round.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(posterior, "sample", partial(posterior.sample, rounds=1))
        return fit(scenario(name), throws, np.random.default_rng(0), other_laws=False, words=words)


@pytest.mark.parametrize(
    ("speeds", "factors", "said"),
    [
        ((9.0, 9.1), (0.85, 0.85), True), ((9.0, 9.1), (0.93, 0.75), False), ((8.7, 9.3), (0.85, 0.85), False),
        ((9.0, 9.1, 9.05), (0.93, 0.75, 0.85), True),
    ],
    ids=["agree", "disagree", "apart", "three"],
)  # fmt: skip
def test_outliers_at_one_setting_that_agree_are_a_misfit(
    speeds: tuple[float, ...], factors: tuple[float, ...], said: bool
) -> None:
    # No tachometer reads the same twice, so settings within 2 % are one.
    given = scenario("seed_ball")
    wheels = np.append(np.linspace(5.0, 16.0, 12)[[0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11]], speeds)
    factor = np.append(1 + 0.008 * np.cos(7.0 * np.arange(11)), factors)
    exits = throw(given.launcher, wheels[:, None]).exit_speed * factor
    found = _fit("seed_ball", table(wheels[:, None], exits), words=False)
    assert (found.found.outlier_probability[-len(speeds) :] > 0.5).all()
    assert any("m/s are far from the fit" in one.words for one in found.misfits) is said


SESSION = np.array([0.5, 0.7, 0.9, 1.1, 1.7, 1.0, 1.05, 0.6, 1.2, 1.2, 0.5, 0.8])
"""Wheel speeds of a session in order, over 13 m/s."""
STEADY = 1 + 0.01 * np.sin(5.0 * np.arange(12) ** 2)
"""Scatter of its throws."""


@pytest.mark.parametrize("name", ["seed_ball", "streamer", "constant_pair"])
def test_launcher_that_loses_one_percent_a_throw_drifts(name: str) -> None:
    given, wheels = scenario(name), 13.0 * SESSION[:, None]
    exits = throw(given.launcher, wheels).exit_speed * STEADY
    assert _fit(name, table(wheels, exits), words=False).misfits == ()
    wrong = _fit(name, table(wheels, exits * 0.99 ** np.arange(12)), words=False).misfits
    (drift,) = (one for one in wrong if one.kind == "order")
    assert drift.probability is not None
    assert drift.probability < 1e-3


RESONANT = np.array([[6, 7, 8, 9, 9.5, 10, 10.9, 11, 11, 11.1, 12, 13, 14, 15, 16, 18]]).T
"""Wheel speeds of which four are about 11 m/s, six slower and six faster."""


def test_throws_of_the_model_are_adequate_where_several_are_at_one_wheel_speed() -> None:
    exits = throw(scenario("seed_ball").launcher, RESONANT).exit_speed * np.resize(STEADY, 16)
    assert _fit("seed_ball", table(RESONANT, exits), words=False).misfits == ()


@pytest.mark.parametrize("loss", [0.12, -0.12])
def test_wheel_speed_at_which_throws_differ_from_all_others_is_named(loss: float) -> None:
    # As of a frame that resonates.
    exits = throw(scenario("seed_ball").launcher, RESONANT).exit_speed * np.resize(STEADY, 16)
    there = (RESONANT[:, 0] > 10.5) & (RESONANT[:, 0] < 11.5)
    found = _fit("seed_ball", table(RESONANT, np.where(there, (1 - loss) * exits, exits)))
    speed = np.median(exits[there]) * (1 - loss)
    assert any(f"{speed:.1f} m/s" in one.words for one in found.misfits if one.kind == "band"), found.misfits
    assert "a frame that shakes" in " ".join(report.misfit_advice(found))


@pytest.mark.parametrize("far", [1.0, 1.5])
def test_throws_as_far_from_the_model_as_the_table_states_are_adequate(far: float) -> None:
    # 0.3 m/s are 10 % of the slowest throws and 2 % of the fastest.
    given, wheels = scenario("seed_ball"), np.repeat(np.linspace(3.0, 20.0, 9), 3)[:, None]
    exact = throw(given.launcher, wheels).exit_speed
    exits = exact + 0.3 * far * np.resize([1, -1, 0, -1, 1, 0, 0, 1, -1], 27)
    shuffled = np.random.default_rng(0).permutation(27)
    throws = replace(table(wheels, exits), uncertainty=0.3 / exits).chosen(shuffled)
    found = _fit("seed_ball", throws, words=False)
    assert (found.found.outlier_probability < 0.5).all()
    assert found.misfits == ()


@pytest.mark.parametrize(("name", "seed"), [("seed_ball", 0), ("streamer", 1), ("constant_pair", 0)])
def test_fit_of_the_right_model_is_adequate(name: str, seed: int) -> None:
    assert _fit(name, _measured(name, seed), words=False).misfits == ()


@pytest.mark.parametrize(
    ("change", "kind", "cause", "factor", "words"),
    [
        (lambda v, order: 3.6 * v, "fast", "chronograph", 1 / 3.6, "as if km/h had been written as m/s"),
        (lambda v, order: np.where(order > 0.5, v / 0.44704, v), "fast", "step", 0.44704, "as if mph had been written"),
        (lambda v, order: v * (1 - 0.08 * order), "order", "step", 1.04, "from throw"),
        (lambda v, order: 0.8 * v, "speed", "chronograph", 1.25, "higher"),
    ],
    ids=["km/h", "half in mph", "drift", "reads low"],
)
def test_planted_error_is_detected_and_named(
    change: Callable[[Floats, Floats], Floats], kind: str, cause: str, factor: float, words: str
) -> None:
    found = _fit("seed_ball", _measured("seed_ball", 1, change))
    assert kind in [one.kind for one in found.misfits]
    named = {one.name: one for one in found.causes}
    assert named[cause].factor == pytest.approx(factor, rel=0.05)
    assert report.misfit_headline(found).startswith("The model does not fit these 30 throws: ")
    assert words in " ".join(report.misfit_advice(found))


def test_a_few_readings_that_are_far_too_fast_are_outliers_and_no_misfit() -> None:
    # Three of thirty: the fit was said not to fit, so that nothing could be planned with it.
    wrong = np.isin(np.arange(COUNT), [5, 14, 22])
    found = _fit("seed_ball", _measured("seed_ball", 1, lambda v, order: np.where(wrong, 2.5 * v, v)), words=False)
    assert found.misfits == ()
    assert (found.found.outlier_probability > 0.5).tolist() == wrong.tolist()


def test_wheel_speeds_in_another_unit_are_named() -> None:
    throws = _measured("seed_ball", 1)
    wheels = tuple(replace(one, values=one.values / 60.0) for one in throws.wheels)
    advice = " ".join(report.misfit_advice(_fit("seed_ball", replace(throws, wheels=wheels))))
    assert "It would fit as if turns per second had been written as rpm" in advice


def test_different_builds_in_one_fit_are_detected() -> None:
    throws = _measured("seed_ball", 2, lambda v, order: np.where(np.arange(v.size) % 2, 1.06 * v, v))
    two = replace(throws, build=np.where(np.arange(COUNT) % 2, "B", "A"))
    found = _fit("seed_ball", two)
    assert "build" in [one.kind for one in found.misfits]
    assert "Fit one build alone" in " ".join(report.misfit_statements(found))


def test_builds_thrown_one_after_the_other_are_no_drift() -> None:
    apart = _measured("seed_ball", 2, lambda v, order: np.where(order > 0.5, 1.06 * v, v))
    apart = replace(apart, build=np.where(np.arange(COUNT) < COUNT / 2, "A", "B"))
    assert {one.kind for one in _fit("seed_ball", apart, words=False).misfits} & {"build", "order"} == {"build"}
    # A drift within each build is one all the same.
    drifting = _measured("seed_ball", 2, lambda v, order: v * (1 + 0.15 * order))
    drifting = replace(drifting, build=np.where(np.arange(COUNT) % 2, "B", "A"))
    assert "order" in {one.kind for one in _fit("seed_ball", drifting, words=False).misfits}


def test_builds_that_compare_calls_different_are_not_fitted_as_one() -> None:
    # B differs by 4.6 % and half of its throws are outliers: the likelihood leaves them out, so that the rest agrees.
    given = scenario("seed_ball")
    throws = read(ROOT / "configs/seed_ball_throws.csv", given.launcher)
    assert compare(given, throws, ("A", "B"), np.random.default_rng(0), brief=True).different
    found = _fit("seed_ball", throws, words=False)
    said = [one.words for one in found.misfits if one.kind == "build"]
    assert said == ["builds that were fitted as one differ", "6 of the 7 outliers are throws of build B"]
    alike = replace(throws, build=np.resize(["A", "B"], len(throws)))
    assert "build" not in [one.kind for one in _fit("seed_ball", alike, words=False).misfits]


def test_conflict_with_the_prior_is_reported() -> None:
    # True friction of two thirds of a value with a narrow prior: the fit follows the throws and reports the conflict.
    given = scenario("constant_pair")
    narrow = (replace(one, standard_uncertainty=one.standard_uncertainty / 4) for one in given.uncertain)
    sure = replace(given, uncertain=tuple(narrow))
    rng = np.random.default_rng(3)
    real = given.realise({"contact.friction.coefficient": 0.66 * given.values["contact.friction.coefficient"]})
    throws = measure(given, real, settings(given, COUNT, rng), Plan(noise=0.01, throws=COUNT, outliers=0.0), rng)
    found = fit(sure, throws, rng, other_laws=False, words=False)
    assert "prior" in [one.kind for one in found.misfits]
    assert any("contradict contact.friction.coefficient" in one.words for one in found.misfits)


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize(
    ("jams", "said"),
    [
        ({}, ""), ({12.0: 1}, ""), ({12.0: 2}, "2 throws jammed that the model lets through"), ({6.0: 1, 10.0: 1}, ""),
        ({6.0: 1, 7.0: 1, 9.0: 1, 10.0: 1}, "4 throws jammed that the model lets through"),
    ],
    ids=["none", "one", "at one setting", "two", "many"],
)  # fmt: skip
def test_jams_that_the_model_lets_through_are_a_misfit(jams: dict[float, int], said: str) -> None:
    name = "constant_pair"
    speeds = np.array([5.0, 6, 7, 8, 9, 10, 11, 12, 14, 16, 18])
    exits = throw(scenario(name).launcher, speeds[:, None]).exit_speed
    assert exits.all()
    exits = exits * np.exp(0.01 * np.random.default_rng(1).normal(size=exits.size))
    stuck = [at for at, count in jams.items() for _ in range(count)]
    throws = table(np.append(speeds, stuck)[:, None], np.append(exits, np.zeros(len(stuck))))
    found = _fit(name, throws)
    assert [one.words for one in found.misfits] == ([said] if said else [])
    assert [one.kind for one in found.misfits] == (["jams"] if said else [])
    if said:
        assert "what stops the projectile" in " ".join(report.misfit_statements(found))


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("friction", [0.7, 1.0])
def test_no_throw_of_the_model_is_faster_than_its_wheels_can_throw(name: str, friction: float) -> None:
    # More friction does not always throw faster: on a rail, and with rubber's, throws of slow wheels get slower.
    given = scenario(name)
    contact = given.launcher.contact
    real = with_friction(given.launcher, contact.friction.scaled(friction))
    speeds = np.linspace(2.0, 24.0, 12)[:, None]
    exits = throw(real, speeds).exit_speed
    throws = table(speeds[exits > 0], exits[exits > 0])
    found = SimpleNamespace(
        model=forward_model(given, own_law(given), throws), count=len(throws), deviations=np.full(len(throws), 1e-3),
        outlier_probability=np.zeros(len(throws)),
    )  # fmt: skip
    assert _too_fast(throws, cast(Any, found), np.random.default_rng(0)) == []
    faster = replace(throws, exit_speed=throws.exit_speed * 2.0)
    assert _too_fast(faster, cast(Any, found), np.random.default_rng(0))


def _repeats(read: Floats, true: Floats, step: float | None) -> Repeats:
    """Return the repeatability of three throws at each speed, read as `read` where `true` is the fitted speed [m/s]."""
    measured, fitted = np.repeat(read, 3), np.repeat(true, 3)
    throws = table(np.repeat(np.arange(read.size) + 5.0, 3)[:, None], measured)
    throws = replace(throws, step=None if step is None else step / measured)
    left = np.log(measured / fitted)
    found = SimpleNamespace(outlier_probability=np.zeros(left.size), residuals=left, spent=2.0, noise=Noise())
    known = repeats(throws, cast(Any, found))
    assert known is not None
    return known


@pytest.mark.parametrize("step", [None, 0.1])
def test_repeats_that_read_alike_are_answered(step: float | None) -> None:
    # The mean of three equal logarithms may differ from them in the last bit.
    rng = np.random.default_rng(0)
    for _ in range(20):
        true = rng.uniform(4, 15, size=8)
        known = _repeats(np.round(true, 1), true, step)
        assert known.deviation == pytest.approx(0, abs=1e-12)
        assert known.lack_of_fit is None or known.lack_of_fit > 0.02


def test_a_coarse_chronograph_is_no_misfit() -> None:
    # Repeats that are read alike err alike: three readings of 4.9 m/s are not three of 4.93 m/s.
    given, wrong = scenario("seed_ball"), 0
    for seed in range(8):
        rng = np.random.default_rng(seed)
        real = own_law(given).launcher(given, draw_truth(given, rng))
        speeds = rng.permutation(np.repeat(np.linspace(5.0, 20.0, 8), 3))[:, None]
        exits = throw(real, speeds).exit_speed * np.exp(0.002 * rng.normal(size=24))
        throws = table(speeds, np.round(exits, 1))
        found = _fit("seed_ball", replace(throws, step=0.1 / throws.exit_speed), words=False)
        wrong += not found.adequate
        # Nor is a launcher known more closely than by what was read.
        assert found.scatter > 0.002
    assert wrong <= 1


def test_settings_farther_from_the_fit_than_a_coarse_chronograph_explains_are_said() -> None:
    true = np.linspace(4, 15, 8)
    # One step up or down at every other setting: three times as far as rounding goes.
    away = np.where(np.arange(8) % 2, 0.15, -0.15)
    known = _repeats(np.round(true + away, 1), true, 0.1)
    assert known.lack_of_fit is not None
    assert known.lack_of_fit < 1e-3


def test_large_scatter_seen_in_repeats_is_adequate() -> None:
    given, rng = scenario("seed_ball"), np.random.default_rng(4)
    speeds = np.repeat(np.linspace(8, 22, 8), 4)[:, None]
    throws = measure(given, given.launcher, speeds, Plan(noise=0.09, throws=32, outliers=0.0), rng)
    assert "scatter" not in [one.kind for one in _fit("seed_ball", throws, words=False).misfits]


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: f"{pair[0]} and {pair[1]}")
def test_two_uncertain_quantities_that_look_alike_are_named(
    pair: tuple[str, str, int, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    one, other, least, why = pair
    known = {each.name: each for each in PERTURBATIONS}
    effect = np.linspace(1.0, 3.0, 8)

    def said(free: int, second: Floats) -> str:
        moved = {name: Shift(perturbation=known[name], size=0.1, effect=along, known=row >= free)
                 for row, (name, along) in enumerate(((one, effect), (other, second)))}  # fmt: skip
        monkeypatch.setattr(adequacy, "shifts", lambda found: moved)
        given = scenario("seed_ball")
        return " ".join(undetermined(SimpleNamespace(model=SimpleNamespace(scenario=given))))  # type: ignore[arg-type]

    monkeypatch.setattr(adequacy, "all_gripped", lambda found: False)
    alike = f"cannot be told apart here: {why}."
    assert [alike in said(free, -2 * effect) for free in range(3)] == [least == 0, least <= 1, True]
    assert "cannot be told apart" not in said(2, effect[::-1])


@pytest.mark.parametrize(
    ("prior", "size", "known"),
    [
        (Normal("mass", 2.0, 0.1), 0.05, False),
        (Normal("mass", -2.0, 0.1), 0.05, False),
        (LogNormal("mass", 3.0, 0.5), np.sinh(0.5), False),
        (Normal("mass", 2.0, 1e-4), 0.01, False),
        (Normal("mass", 0.0, 0.3), TYPICAL, False),
        (Normal("length", 2.0, 0.1), TYPICAL, True),
    ],
    ids=["normal", "negative", "factor", "narrow", "zero", "of another key"],
)
@pytest.mark.parametrize("idle", [False, True])
def test_error_that_is_tried_is_as_large_as_the_prior_expects(prior: Any, size: float, known: bool, idle: bool) -> None:
    found = SimpleNamespace(priors=() if idle else (prior,), idle=(prior,) if idle else ())
    tried = _shift_size(cast(Any, found), cast(Any, SimpleNamespace(keys=("diameter", "mass"))))
    assert tried == (pytest.approx(size), known)
