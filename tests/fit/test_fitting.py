"""Fits of simulated throws: identified parameters, outliers, jams, friction laws, later stages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

import stager
from stager.config import load
from stager.errors import InputErrors
from stager.fit import optimiser
from stager.fit.fitting import fit
from stager.fit.likelihood import Noise
from stager.fit.optimiser import BestFit, best_fit
from stager.fit.posterior import Fit
from stager.fit.priors import own_law
from stager.fit.table import Throws
from stager.model.arrays import Floats
from stager.model.launcher import Scenario
from tests.cli.run import ROOT
from tests.recovery.bench import KINDS, Plan, draw_truth, measure, scenario, settings, table, working

ACROSS = np.repeat(np.linspace(7.0, 24.0, 12), 2)[:, None]


def _measured(given: Scenario, speeds: Floats, seed: int, noise: float = 0.012, outliers: float = 0.0) -> Throws:
    rng = np.random.default_rng(seed)
    real = own_law(given).launcher(given, draw_truth(given, rng))
    return measure(given, real, speeds, Plan(noise=noise, throws=len(speeds), outliers=outliers), rng)


def _fit(given: Scenario, throws: Throws, *, other_laws: bool = False, words: bool = False) -> Fit:
    return fit(given, throws, np.random.default_rng(0), other_laws=other_laws, words=words)


@pytest.mark.parametrize(("name", "number"), [("bell_pair", 5), ("foam_disc", 1), ("foam_disc", 15)])
def test_a_session_with_jams_is_fitted_as_closely_as_its_throws_scatter(name: str, number: int) -> None:
    # Whether a throw jams is a jump of the likelihood: from many starts no slope leads to the best fit.
    rng, given, plan = (
        np.random.default_rng([77, KINDS.index(name), number]),
        scenario(name),
        Plan(noise=0.012, throws=24, outliers=0.0),
    )
    speeds = settings(given, plan.throws, rng)
    throws = measure(given, working(given, speeds, rng)[1], speeds, plan, rng)
    jams = int((throws.exit_speed == 0.0).sum())
    assert jams > 3
    throws = throws.chosen(np.argsort(throws.exit_speed == 0.0, kind="stable"))
    found = best_fit(given, own_law(given), throws, Noise(), np.random.default_rng(0), jams=jams)
    assert found.scatter == pytest.approx(plan.noise, rel=0.4)


def test_throws_across_the_grip_limit_identify_friction() -> None:
    found = _fit(scenario("seed_ball"), _measured(scenario("seed_ball"), ACROSS, 1), words=True)
    known = {one.key: one for one in found.parameters}
    assert known["contact.friction.sliding"].identified
    assert known["traction"].identified
    assert not known["feed.speed"].identified
    assert found.posterior.trusted
    assert found.scatter == pytest.approx(0.012, rel=0.5)
    assert found.repeats is not None
    # 12 settings with two throws each; one throw is probably an outlier and is left out of its pair.
    assert found.repeats.freedom == 11
    text = " ".join(found.sentences)
    assert "Stiffness of the contact and friction cannot be told apart here: only stiffness × friction / mass" in text
    # Hardly anything is not nothing: the value moves a little.
    assert "The throws say hardly anything about the feed speed: it rests on the configured value." in text
    assert known["feed.speed"].told < 0.3
    assert known["feed.speed"].value != 1.2
    for one in found.parameters:
        assert one.interval[0] <= one.value <= one.interval[1]
        if one.profile is not None and one.identified:
            assert one.profile == pytest.approx(one.interval, rel=0.1)


def test_gripping_throws_leave_sliding_friction_at_its_prior() -> None:
    given = scenario("seed_ball")
    found = _fit(given, _measured(given, np.linspace(4.0, 9.0, 18)[:, None], 2), words=True)
    assert "All throws gripped" in found.sentences[0]
    assert "sliding friction" in found.sentences[0]
    sliding = next(one for one in found.parameters if one.key == "contact.friction.sliding")
    assert not sliding.identified
    # Its posterior is the prior: 0.22 ± 0.04.
    assert sliding.value == pytest.approx(0.22, abs=0.01)
    assert sliding.standard_uncertainty == pytest.approx(0.04, rel=0.2)


@pytest.mark.usefixtures("few_draws")
def test_outliers_are_listed_and_downweighted() -> None:
    given = scenario("constant_pair")
    clean = _measured(given, ACROSS, 3)
    wild = clean.exit_speed.copy()
    wild[[4, 17]] *= 1.3, 0.6
    one, two = _fit(given, clean), _fit(given, replace(clean, exit_speed=wild))
    assert one.outliers == ()
    sure = [outlier for outlier in two.outliers if outlier.probability > 0.95]
    assert [outlier.line for outlier in sure] == [6, 19]
    assert sure[0].fitted == pytest.approx(clean.exit_speed[4], rel=0.05)
    for a, b in zip(one.parameters, two.parameters, strict=True):
        assert b.value == pytest.approx(a.value, abs=a.standard_uncertainty)


@pytest.mark.usefixtures("few_draws")
def test_other_friction_law_is_selected_only_if_clearly_better() -> None:
    falling = scenario("seed_ball")
    throws = _measured(falling, ACROSS, 4)
    found = _fit(falling, throws, other_laws=True)
    assert set(found.aicc) == {"constant", "falling", "bell", "rising"}
    assert found.law == "falling"
    assert found.aicc["constant"] > found.aicc["falling"] + 10
    other = _fit(scenario("constant_pair"), throws, other_laws=True)
    assert other.law != "constant"
    assert not other.keeps_law


@pytest.mark.usefixtures("few_draws")
def test_throws_of_a_second_stage_check_its_prediction() -> None:
    given = scenario("constant_pair")
    second = np.column_stack([np.full(8, 9.0), np.linspace(10.0, 16.0, 8)])
    speeds = np.vstack([np.column_stack([ACROSS[:, 0], np.full(24, np.nan)]), second])
    rng = np.random.default_rng(5)
    real = own_law(given).launcher(given, draw_truth(given, rng))
    plan = Plan(noise=0.012, throws=0, outliers=0.0)
    exits = [measure(given, real, part, plan, rng).exit_speed for part in (ACROSS, second)]
    found = _fit(given, table(speeds, np.concatenate(exits)), words=True)
    assert found.built == 2
    (check,) = found.checks
    assert check.stages == 2
    assert check.inside >= 6
    assert abs(check.error) < 0.02
    # One throw scatters as much as those before it, and what the fit leaves open comes on top.
    spread = np.log(check.high / check.low) / 2 / 1.96
    assert ((spread > 0.8 * found.found.scatter) & (spread < 3 * found.found.scatter)).all()


@pytest.mark.usefixtures("few_draws")
def test_jams_narrow_the_posterior() -> None:
    # Rubber friction is zero at zero slip and falls at high slip, so fast wheels jam; where they jam is informative.
    given = scenario("bell_pair")
    speeds = np.linspace(8.0, 30.0, 24)[:, None]
    throws = _measured(given, speeds, 6)
    jammed = int(throws.jammed.sum())
    assert jammed > 3
    without_jams = _fit(given, throws.chosen(~throws.jammed))
    found = _fit(given, throws)
    assert found.used.size == 24 - jammed
    widths = [
        next(one for one in done.parameters if one.key == "contact.friction.width").standard_uncertainty
        for done in (found, without_jams)
    ]
    assert widths[0] < widths[1]


@pytest.mark.usefixtures("few_draws")
def test_single_jam_hardly_changes_the_fit() -> None:
    given = scenario("constant_pair")
    throws = _measured(given, ACROSS, 6)
    speeds = throws.exit_speed.copy()
    speeds[3] = 0.0
    with_jam, without = _fit(given, replace(throws, exit_speed=speeds)), _fit(given, throws)
    assert with_jam.used.size == 23
    for a, b in zip(with_jam.parameters, without.parameters, strict=True):
        assert a.value == pytest.approx(b.value, abs=b.standard_uncertainty)


def test_too_few_throws_are_an_input_error() -> None:
    given = scenario("constant_pair")
    throws = _measured(given, ACROSS, 7).chosen(np.arange(3))
    with pytest.raises(InputErrors, match=r"at least 3 usable throws \(got 2 .* 1 that jammed"):
        _fit(given, replace(throws, exit_speed=np.array([9.0, 0.0, 8.0])))


def test_fit_without_uncertain_parameters_estimates_the_scatter(tmp_path: Path) -> None:
    text = (Path(__file__).parents[2] / "configs/seed_ball.toml").read_text(encoding="utf-8")
    lines = [line.split(" ±")[0] + '"' if " ± " in line and " = " in line else line for line in text.splitlines()]
    path = tmp_path / "sure.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    given = load(path).scenario()
    assert given.uncertain == ()
    found = _fit(given, _measured(given, ACROSS, 8), words=True)
    assert found.parameters == ()
    assert found.scatter == pytest.approx(0.012, rel=0.5)


@pytest.mark.usefixtures("few_draws")
def test_fit_is_reproducible_for_a_seed() -> None:
    given = scenario("constant_pair")
    throws = _measured(given, ACROSS, 9)
    assert _fit(given, throws).parameters == _fit(given, throws).parameters


@pytest.mark.usefixtures("few_draws")
def test_progress_rises_to_one() -> None:
    seen: list[float] = []
    given = scenario("constant_pair")
    fit(given, _measured(given, ACROSS, 10), np.random.default_rng(0), progress=seen.append, words=False)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_posterior_stays_within_a_rectangular_prior() -> None:
    given = scenario("constant_pair")
    narrow = replace(given.uncertain[0], rectangular=True)
    given = replace(given, uncertain=(narrow, *given.uncertain[1:]))
    found = _fit(given, _measured(given, ACROSS, 11))
    drawn = found.posterior.values[narrow.key]
    half = np.sqrt(3) * narrow.standard_uncertainty
    assert np.abs(drawn - narrow.value).max() <= half * (1 + 1e-12)


def test_identified_parameters_do_not_depend_on_the_seed() -> None:
    given = scenario("seed_ball")
    throws = _measured(given, ACROSS, 5)
    found = [
        fit(given, throws, np.random.default_rng(seed), other_laws=False, words=False).parameters for seed in range(3)
    ]
    flags = [{one.key: one.identified for one in parameters} for parameters in found]
    assert flags[0] == flags[1] == flags[2]
    for parameters in zip(*found, strict=True):
        assert np.ptp([one.told for one in parameters]) < 0.02


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("name", ["seed_ball", "bell_pair", "foam_disc"])
def test_estimate_lies_in_its_interval(name: str) -> None:
    given = scenario(name)
    speeds = np.linspace(5.0, 12.0, 6)[:, None]
    for seed in range(2):
        rng = np.random.default_rng(seed)
        _, real = working(given, speeds, rng)
        found = _fit(given, measure(given, real, speeds, Plan(noise=0.012, throws=6, outliers=0.0), rng))
        for one in found.parameters:
            assert one.interval[0] <= one.value <= one.interval[1], one.key


def test_modes_of_the_posterior_share_it_by_their_density_and_starts_in_one_mode_count_once() -> None:
    places = np.array([[5.0, 0.0], [0.0, 0.0], [0.1, 0.1], [0.0, 9.0]])
    minimum: Any = SimpleNamespace(
        place=places, objective=np.array([101.0, 100.0, 100.5, 107.0]), curvature=np.array([4 * np.eye(2)] * 4)
    )
    # The fourth, at e⁻⁷ of the best, is left out.
    (first, spread, most), (second, _, least) = BestFit.modes(SimpleNamespace(minimum=minimum, priors=(None, None)))  # type: ignore[arg-type]
    assert (first.tolist(), second.tolist()) == ([0.0, 0.0], [5.0, 0.0])
    assert spread == pytest.approx(np.eye(2) / 4)
    assert (most, least) == pytest.approx((1 / (1 + np.exp(-1)), 1 / (1 + np.e)))


SLIPPING_ROD = """
title = "Rod that slow wheels throw and fast ones jam"
[projectile]
shape = "rod"
mass = "2.2 g ± 0.1 g"
diameter = "13 mm"
length = "72 mm"
[feed]
speed = "0.8 m/s ± 0.1 m/s"
[contact]
stiffness = "6 kN/m ± 1.5 kN/m"
rebound = 0.4
creep = "0.4 m/s ± 0.2 m/s"
friction = {law = "falling", static = "0.7 ± 0.15", sliding = "0.35 ± 0.08", fade_speed = "9 m/s ± 3 m/s"}
[outlet]
loss = "0.03 J ± 0.02 J"
length = "100 mm"
[measuring]
exit_speed = "1 ± 0.01"
distance = "1.5 m"
[stage]
layout = "pair"
crush = "3 mm ± 0.2 mm"
clearance = "10 mm"
wheel = {radius = "17 mm", inertia = "4e-6 kg m^2 ± 5e-7 kg m^2"}
[limits]
exit_energy = "2.5 J"
stages = 1
[goal]
aim = "fastest"
"""
JAMMED_AT = np.array([9000, 12000, 14000, 16000, 19000]) * 2 * np.pi / 60 * 0.017
"""Surface speeds of five throws with it, the last two of which jam [m/s]."""


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("others", [False, True], ids=["friction", "friction and all others"])
def test_traction_is_told_where_the_throws_depend_on_none_of_its_parameters(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, others: bool
) -> None:
    (tmp_path / "rod.toml").write_text(SLIPPING_ROD, encoding="utf-8")
    given = load(tmp_path / "rod.toml").scenario()
    uncertain = tuple(one for one in given.uncertain if others or one.key.startswith("contact.friction"))
    given = replace(given, uncertain=uncertain)
    throws = table(JAMMED_AT[:, None], np.array([14.35, 18.91, 21.76, 0.0, 0.0]))
    # As where every start jams, whatever stiffness, mass and the peak of friction are.
    idle = ("projectile.mass", "contact.stiffness", "contact.friction.static")
    monkeypatch.setattr(
        optimiser,
        "_affecting",
        lambda misfit, *rest, **options: np.array([one.key not in idle for one in misfit.priors]),
    )
    found = _fit(given, throws)
    traction = next(one for one in found.parameters if one.group)
    assert traction.told == pytest.approx(0.0, abs=0.1)
    assert traction.standard_uncertainty == pytest.approx(traction.prior_uncertainty, rel=0.2)


@pytest.mark.parametrize("static", ["0.75 ± 0.08", "0.3 ± 0.1", "0.15 ± 0.15", "0.1 ± 0.2"])
def test_parameters_that_throws_depend_on_are_fitted_where_the_law_jams_them_at_its_start(static: str) -> None:
    # At half the feed's speed and a friction of 0.15 no throw gets through, whatever the mass or the crush.
    throws = _measured(scenario("seed_ball"), ACROSS, 1)
    changes = {"contact.friction.static": static, "contact.friction.sliding": "0.1 ± 0.1", "feed.speed": "0.5 m/s"}
    given = stager.load(ROOT / "configs" / "seed_ball.toml").replace(changes).scenario
    found = best_fit(given, own_law(given), throws, Noise(), np.random.default_rng(0))
    assert found.idle == ()
    assert np.abs(found.residuals).max() < 0.05
