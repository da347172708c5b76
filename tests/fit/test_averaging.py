"""Model averaging over friction laws that the throws cannot distinguish."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from stager.fit.fitting import TIE, choose, fit, likely
from stager.fit.optimiser import BestFit
from stager.fit.prediction import after
from stager.fit.priors import Sampled, own_law
from stager.fit.table import Throws
from stager.physics.chain import throw
from stager.physics.friction import Bell, Falling, Rising
from stager.report import fit as report
from tests.recovery.bench import Plan, draw_truth, measure, scenario

GIVEN = scenario("seed_ball")


def _throws(low: float, high: float, count: int, seed: int = 1) -> Throws:
    rng = np.random.default_rng(seed)
    real = own_law(GIVEN).launcher(GIVEN, draw_truth(GIVEN, rng))
    speeds = np.linspace(low, high, count)[:, None]
    return measure(GIVEN, real, speeds, Plan(noise=0.02, throws=count, outliers=0.0), rng)


LAWS = (Falling(0.8, 0.3, 7.0), Bell(0.9, 1.5, 2.0), Rising(0.4, 0.9, 4.0))


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_sampled_law_throws_like_the_law(law: object) -> None:
    speeds = np.linspace(5, 30, 9)[:, None]
    contact = replace(GIVEN.launcher.contact, friction=law, rail_friction=law)
    exact = throw(replace(GIVEN.launcher, contact=contact), speeds).exit_speed
    sampled = Sampled.of([law], [1])  # type: ignore[list-item]
    contact = replace(contact, friction=sampled, rail_friction=sampled)
    np.testing.assert_allclose(throw(replace(GIVEN.launcher, contact=contact), speeds).exit_speed, exact, rtol=1e-4)


def test_sampled_laws_are_combined_in_one_batch() -> None:
    laws = [Falling(np.array([0.8, 0.7]), 0.3, 7.0), Rising(0.4, np.array([0.9, 0.8, 0.7]), 4.0)]
    sampled = Sampled.of(laws, [2, 3])  # type: ignore[arg-type]
    slip = np.array([0.5, 3.0, 12.0])
    singles = [Falling(0.8, 0.3, 7.0), Falling(0.7, 0.3, 7.0), *(Rising(0.4, end, 4.0) for end in (0.9, 0.8, 0.7))]
    expected = np.stack([one.coefficient(slip)[0] for one in singles])
    np.testing.assert_allclose(sampled.coefficient(slip[:, None])[0].T, expected, rtol=1e-4)


def test_weights_follow_aicc_and_drop_unlikely_laws() -> None:
    weights = likely({"falling": 10.0, "bell": 11.0, "constant": 12.5, "rising": np.inf}, "falling")
    assert list(weights) == ["falling", "bell"]
    assert weights["bell"] / weights["falling"] == pytest.approx(np.exp(-0.5))
    assert sum(weights.values()) == pytest.approx(1.0)
    # The configured law is always included, even if another one is a little better.
    assert "falling" in likely({"falling": 13.0, "bell": 10.0}, "falling")


def test_known_friction_is_averaged_with_no_other_law() -> None:
    others = tuple(one for one in GIVEN.uncertain if not one.key.startswith("contact.friction."))
    found = fit(replace(GIVEN, uncertain=others), _throws(5.0, 12.0, 8), np.random.default_rng(0), words=False)
    assert min(found.aicc[name] for name in found.aicc if name != "falling") < found.aicc["falling"] + TIE
    assert found.weights == {"falling": 1.0}
    assert list(found.posteriors) == ["falling"]


@pytest.mark.parametrize(
    ("apart", "words"),
    [
        (-11.6, "bell fits better"), (-2.1, "bell fits better"), (-1.9, "bell fits about as well"),
        (1.9, "bell fits about as well"), (2.1, ""),
    ],
)  # fmt: skip
@pytest.mark.parametrize("known", [True, False])
def test_law_that_fits_better_is_said_to(apart: float, words: str, known: bool) -> None:
    law = SimpleNamespace(priors=() if known else (1,))
    found = SimpleNamespace(scenario=GIVEN, law="falling", aicc={"falling": 0.0, "bell": apart},
                            found=SimpleNamespace(law=law))  # fmt: skip
    why = ", but friction given without ± is taken as known" if known and apart < -TIE else ""
    expected = f"Friction law: falling, as configured{'; ' * bool(words)}{words}{why}."
    assert report.law_sentence(found) == expected  # type: ignore[arg-type]


@pytest.mark.parametrize(("own", "other"), [(np.inf, 0.0), (0.0, np.inf), (np.inf, np.inf)])
def test_laws_that_too_few_throws_compare_are_not_judged(own: float, other: float) -> None:
    found = SimpleNamespace(scenario=GIVEN, law="falling", aicc={"falling": own, "bell": other, "rising": np.inf},
                            found=SimpleNamespace(law=SimpleNamespace(priors=(1,))))  # fmt: skip
    said = "Friction law: falling, as configured; too few throws to tell of bell and rising."
    assert report.law_sentence(found) == said  # type: ignore[arg-type]
    cells = {name: (apart, words) for name, apart, words in report.laws(found).rows}  # type: ignore[arg-type]
    assert cells["falling"] == ("-" if np.isinf(own) else "0", "used, as configured")
    assert cells["bell"] == ("-" if np.isinf(other) else "0", "too few throws to tell")
    assert cells["rising"] == ("-", "too few throws to tell")


def test_law_that_too_few_throws_compare_is_kept() -> None:
    own, other = (
        cast(BestFit, SimpleNamespace(law=SimpleNamespace(priors=(1,)), aicc=aicc, evidence=evidence))
        for aicc, evidence in ((np.inf, 0.0), (-5.0, 0.1))
    )
    assert choose([own, other]) is own


def test_averaging_widens_predictions_from_few_gripping_throws() -> None:
    throws = _throws(5.0, 12.0, 8)
    averaged = fit(GIVEN, throws, np.random.default_rng(0), words=False)
    alone = fit(GIVEN, throws, np.random.default_rng(0), words=False, other_laws=False)
    assert len(averaged.weights) > 1
    assert list(alone.weights) == ["falling"]
    fast = np.array([[28.0]])
    spread = []
    for one in (averaged, alone):
        ensemble = after(one, np.random.default_rng(1), 150)
        exits = throw(ensemble.launcher, np.broadcast_to(fast, (151, 1))).exit_speed
        assert exits.shape == (151,)
        assert np.isfinite(exits).all()
        spread.append(float(np.std(exits[1:])))
    assert spread[0] > 1.2 * spread[1]


def test_draws_are_distributed_by_the_weights() -> None:
    averaged = fit(GIVEN, _throws(5.0, 12.0, 8), np.random.default_rng(0), words=False)
    ensemble = after(averaged, np.random.default_rng(1), 400)
    assert ensemble.lanes == 401
    counts = {law: ensemble.laws.count(law) for law in averaged.weights}
    for law, weight in averaged.weights.items():
        assert counts[law] == pytest.approx(400 * weight, abs=60)
    assert ensemble.laws[0] == averaged.law
