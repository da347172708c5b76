"""Advice stays inside the limits, and every screen names the same wheel speed."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import stager
from stager.constraints.recommend import hard_slacks
from stager.fit import fitting
from stager.fit.grip_ensemble import Ensemble, after, before
from stager.fit.records import Fit
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats
from stager.physics.chain import SURE, throw
from tests.cli.run import ROOT
from tests.recovery.bench import Plan, measure, table

SHIPPED = ("seed_ball", "foam_disc", "streamer", "table_tennis")
TIGHT = {
    "seed_ball": {"limits.exit_energy": "1.1 J"},
    "foam_disc": {"limits.exit_energy": "0.12 J"},
    "streamer": {"limits.exit_energy": "0.5 J"},
    "table_tennis": {"limits.exit_energy": "0.06 J", "projectile.max_crush": "2.2 mm"},
}
"""What makes limits bind far below what wheels could do."""
FRESH = 2000


@lru_cache
def loaded(name: str, tight: bool) -> Any:
    found = stager.load(ROOT / "configs" / f"{name}.toml")
    return found.replace({"limits.stages": 1, **(TIGHT[name] if tight else {})})


@lru_cache
def throws(name: str) -> Throws:
    given = loaded(name, False).scenario
    rng = np.random.default_rng(5)
    speeds = np.sort(np.resize(np.linspace(0.6, 1.5, 5), 10))[:, None] * float(given.launcher.template.speed)
    return measure(given, given.launcher, speeds, Plan(noise=0.01, throws=10, outliers=0.0), rng)


@lru_cache
def unmeasured(name: str, tight: bool) -> tuple[Any, bool]:
    """What bench answers before any throw."""
    return loaded(name, tight).watch(table(np.zeros((0, 1)), np.zeros(0)))  # type: ignore[no-any-return]


@lru_cache
def learned(name: str, tight: bool) -> tuple[Any, Any, Any, bool]:
    """What fit, next and bench answer after the throws."""
    one, measured = loaded(name, tight), throws(name)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fitting, "fit", _once(fitting.fit))
        watched, fitted = one.watch(measured)
        return one.fit(measured), one.next(measured), watched, fitted


def _once(fit: Callable[..., Fit]) -> Callable[..., Fit]:
    """The fit, made once for equal arguments and random numbers, which go on as after a fit of their own."""
    done: dict[str, tuple[Fit, Any]] = {}

    def again(scenario: Any, throws: Throws, rng: np.random.Generator, *, progress: Any = None, **more: Any) -> Fit:
        key = repr((id(scenario), id(throws), rng.bit_generator.state, more))
        if key not in done:
            done[key] = fit(scenario, throws, rng, **more), rng.bit_generator.state
        found, rng.bit_generator.state = done[key]
        return found

    return again


def broken(known: Ensemble, settings: Floats) -> float:
    """Share of fresh draws in which settings (stages,) break a hard limit."""
    values = known.scenario.limit_values
    done = throw(known.launcher, np.broadcast_to(settings, (known.lanes, settings.size)), options=SURE)
    kept = np.ones(known.lanes, bool)
    for slack in hard_slacks(known.launcher, values, done, steady=False).values():
        kept &= slack >= -1e-6
    return float(1 - kept[1:].mean())


CASES = pytest.mark.parametrize(("name", "tight"), [("seed_ball", False), *((name, True) for name in SHIPPED[1:])])
PLANNED = pytest.mark.parametrize(
    ("name", "tight"),
    [("seed_ball", False), ("table_tennis", False), ("seed_ball", True), ("streamer", True), ("foam_disc", True)],
)


@CASES
def test_nothing_is_proposed_that_breaks_a_hard_limit_in_more_than_5_of_100_builds(name: str, tight: bool) -> None:
    fitted, advised, watched, _ = learned(name, tight)
    known = after(fitted.fit, np.random.default_rng(99), FRESH)
    proposed = [np.array([fitted.recommended[0].wheel_speed])]
    proposed += [one.wheel_speed for found in (advised, watched) for one in found.plan]
    proposed += [one.wheel_speed for one in fitted.predicted]
    for settings in proposed:
        assert broken(known, settings) <= 0.05


@CASES
def test_the_first_throw_is_safe_over_all_that_is_not_known(name: str, tight: bool) -> None:
    one = loaded(name, tight)
    found, fitted = unmeasured(name, tight)
    assert not fitted
    known = before(one.scenario, np.random.default_rng(99), FRESH)
    for throw_at in found.plan:
        assert broken(known, throw_at.wheel_speed) <= 0.005
    if found.recommended.wheel_speed is not None:
        assert found.plan
        assert broken(known, np.array([found.recommended.wheel_speed])) <= 0.05


@CASES
def test_after_throws_fit_next_and_bench_name_the_same_wheel_speed(name: str, tight: bool) -> None:
    fitted, advised, watched, from_fit = learned(name, tight)
    assert from_fit
    speed = fitted.recommended[0].wheel_speed
    assert speed is not None
    assert advised.recommended == watched.recommended == fitted.recommended[0] == fitted.predicted[0].tuned.recommended
    assert fitted.predicted[0].wheel_speed[0] == speed
    documents = fitted.document(), advised.document()
    assert documents[0]["stages"][0]["recommended"]["wheel_speed_m_s"] == pytest.approx(speed)
    assert documents[1]["best_wheel_speed_m_s"] == pytest.approx(speed)
    sentence = fitted.recommended[0].reason
    assert all(sentence in str(answer.answer().screen) for answer in (fitted, advised))


@PLANNED
def test_before_throws_plan_sweep_and_bench_name_the_same_wheel_speed(name: str, tight: bool) -> None:
    one = loaded(name, tight)
    swept = one.sweep().recommended
    watched, _ = unmeasured(name, tight)
    assert watched.recommended == swept
    planned = one.plan().best
    if planned is None or swept.wheel_speed is None:
        assert planned is None or not planned.count or swept.wheel_speed is None
        return
    assert float(planned.wheel_speed[0]) == pytest.approx(swept.wheel_speed, rel=2e-3)


def test_a_page_names_the_speed_of_the_fit(tmp_path: Path) -> None:
    name = "seed_ball"
    fitted = learned(name, False)[0]
    page = loaded(name, False).report(throws(name)).html()
    assert f"{fitted.recommended[0].wheel_speed:.2f} m/s" in page
