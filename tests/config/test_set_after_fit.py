"""Values that are set after a fit: they hold in the draws too, in place of what the fit had learned of them."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import stager
from stager.api.loaded import Loaded
from stager.config import load, save
from stager.errors import InputErrors
from stager.fit.prediction import before
from stager.optimise.draws import draw
from tests.cli.run import ROOT

SEED = load(ROOT / "configs" / "seed_ball.toml")
UNSURE = {one.key: one for one in SEED.scenario().uncertain}
KEYS = ("projectile.mass", "feed.speed", "contact.friction.static", "contact.friction.fade_speed", "stage.crush")


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    """Return a configuration as a fit leaves it: values with a ± of a third of the priors', and correlated draws."""
    rng = np.random.default_rng(2)
    common = rng.normal(size=300)
    learned = {
        key: 1.02 * one.value + one.standard_uncertainty / 3 * (0.8 * common + 0.6 * rng.normal(size=300))
        for key, one in UNSURE.items()
        if key in KEYS
    }
    changes = {key: SEED.to_toml(key, drawn.mean(), drawn.std()) for key, drawn in learned.items()}
    path = tmp_path_factory.mktemp("fitted") / "fitted.toml"
    save(SEED, path, changes, draws=learned)
    return stager.load(path)


@given(
    key=st.sampled_from(KEYS), factor=st.floats(0.7, 1.4), spread=st.sampled_from([0.0, 0.02]), seed=st.integers(0, 99)
)
def test_value_set_after_a_fit_holds_in_the_draws(
    fitted: Loaded, key: str, factor: float, spread: float, seed: int
) -> None:
    value = factor * UNSURE[key].value
    changed = fitted.replace({key: fitted.configuration.to_toml(key, value, spread * value).strip('"')})
    rng = np.random.default_rng(seed)
    for found in (draw(changed.scenario, 200, rng).values, before(changed.scenario, rng, 200).values):
        column = found.get(key, np.full(201, changed.scenario.values[key]))
        assert column[0] == pytest.approx(value, rel=0.01)
        assert column[1:].mean() == pytest.approx(value, rel=0.01)
        assert column[1:].std() == pytest.approx(spread * value, rel=0.2, abs=1e-12)
        others = [other for other in KEYS if other != key]
        # What was not set keeps the fit's values and their correlation.
        assert np.corrcoef([found[other][1:] for other in others])[0, 1] > 0.4
        for other in others:
            assert np.isin(found[other][1:], (fitted.configuration.draws or {})[other]).all()


def test_values_may_be_set_one_after_the_other(fitted: Loaded) -> None:
    both = fitted.replace({"stage.crush": "5 mm ± 0.1 mm"}).replace({"projectile.mass": "20 g ± 0.2 g"})
    found = draw(both.scenario, 200, np.random.default_rng(0)).values
    assert found["stage.crush"][1:].mean() == pytest.approx(5e-3, rel=0.01)
    assert found["projectile.mass"][1:].mean() == pytest.approx(20e-3, rel=0.01)


def test_table_set_after_a_fit_replaces_the_draws_of_its_keys(fitted: Loaded) -> None:
    friction = {"law": "constant", "coefficient": "0.4 ± 0.02"}
    found = draw(fitted.replace({"contact.friction": friction}).scenario, 200, np.random.default_rng(0)).values
    assert found["contact.friction.coefficient"][1:].mean() == pytest.approx(0.4, rel=0.01)
    assert not any(key.startswith("contact.friction.") and key in KEYS for key in found)
    assert "stage.crush" in found


def test_configuration_with_all_learned_values_set_has_no_draws(fitted: Loaded, tmp_path: Path) -> None:
    known = fitted.replace({key: fitted.configuration.to_toml(key, UNSURE[key].value).strip('"') for key in KEYS})
    assert known.scenario.draws is None
    save(known.configuration, tmp_path / "known.toml", {})
    assert load(tmp_path / "known.toml").file.draws is None


@pytest.mark.parametrize("folder", [".", "elsewhere"])
def test_saved_configuration_with_a_value_set_loads_with_the_other_draws(fitted: Loaded, folder: str) -> None:
    changed = fitted.replace({"stage.crush": "5 mm ± 0.1 mm"})
    path = fitted.configuration.path.parent / folder / "planned.toml"
    path.parent.mkdir(exist_ok=True)
    save(changed.configuration, path, {}, force=True)
    again = load(path)
    assert again.draws is not None
    assert set(again.draws) == set(KEYS) - {"stage.crush"}
    assert again.scenario().values["stage.crush"] == 5e-3
    assert load(fitted.configuration.path).draws is not None


def _edited(fitted: Loaded, key: str, text: str) -> Path:
    """Write the fitted file with another value of a key beside it, as an editor does."""
    path = fitted.configuration.path.with_name("edited.toml")
    name = key.rpartition(".")[2]
    pattern = re.compile(rf'^({name} *= )"[^"]*"', re.MULTILINE)
    path.write_text(pattern.sub(rf'\g<1>"{text}"', fitted.configuration.text, count=1), encoding="utf-8")
    return path


@pytest.mark.parametrize(("key", "text"), [("stage.crush", "5 mm ± 0.1 mm"), ("projectile.mass", "0.1 kg ± 1 g")])
def test_edited_value_that_its_draws_do_not_reach_is_refused(fitted: Loaded, key: str, text: str) -> None:
    path = _edited(fitted, key, text)
    with pytest.raises(InputErrors) as caught:
        load(path)
    (error,) = caught.value.errors
    line = next(n for n, one in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if text in one)
    assert error.where == f"{path}:{line}: {key}"
    assert "is outside its draws in fitted.draws.csv" in error.message
    assert "--set" in error.hint


@pytest.mark.parametrize(("key", "text", "value"), [("stage.crush", "5 mm", 5e-3), ("projectile.mass", "25 g", 25e-3)])
def test_edited_value_without_its_uncertainty_is_known(fitted: Loaded, key: str, text: str, value: float) -> None:
    scenario = load(_edited(fitted, key, text)).scenario()
    assert scenario.values[key] == pytest.approx(value)
    assert key not in draw(scenario, 50, np.random.default_rng(0)).values


def test_fitted_file_loads_however_few_digits_its_values_have(fitted: Loaded) -> None:
    rng = np.random.default_rng(5)
    for _ in range(50):
        drawn = {"stage.crush": 4e-3 + 10 ** rng.uniform(-9, -4) * rng.normal(size=300)}
        text = SEED.to_toml("stage.crush", float(rng.choice(drawn["stage.crush"])), drawn["stage.crush"].std())
        path = fitted.configuration.path.with_name("digits.toml")
        save(SEED, path, {"stage.crush": text}, draws=drawn, force=True)
        assert load(path).draws is not None


def test_prediction_of_another_crush_is_that_of_the_crush(fitted: Loaded) -> None:
    changed = fitted.replace({"stage.crush": "5 mm ± 0.05 mm", "limits.stages": 1})
    row = changed.plan(draws=100).answer().document["ladder"][-1]["exit_speed_m_s"]
    assert row["low"] < row["nominal"] < row["high"]
