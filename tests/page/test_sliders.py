"""Sliders of the page: answers agree with the simulation, in a browser at three widths, offline, by keyboard."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import qmc

import stager
from stager.optimise.response import halton
from tests.page import reports
from tests.page.browser import Tab, browser

WIDTHS = (390, 768, 1440)
EACH = 20
"""Positions of the sliders at each width."""
CLOSE = 5e-3
"""Greatest relative difference from the simulation [-]."""
SET = """new Promise(done => {{ const given = {steps};
  for (const key in given) {{ const e = document.getElementById(key); e.value = given[key];
    e.dispatchEvent(new Event('input', {{bubbles: true}})); }}
  requestAnimationFrame(() => requestAnimationFrame(() => done(1))); }})"""
READ = """(() => { const of = id => document.getElementById(id);
  return {speed: of('now-speed').dataset.value, energy: of('now-energy').dataset.value,
    heat: of('now-heat').dataset.value, grip: of('now-grip').dataset.value, words: of('now-words').textContent,
    toml: of('toml').value, copy: !of('copy').disabled,
    limits: [...of('now-limits').rows].map(r => [r.cells[0].textContent, r.cells[3].textContent])} })()"""
RANGES = """Object.fromEntries([...document.querySelectorAll('#sliders input')].map(e => [e.id, [+e.min, +e.max]]))"""


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    with browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@lru_cache
def _page() -> Path:
    path = reports.folder() / "sliders.html"
    reports.without_throws().save(path)
    return path


def _answer(tab: Tab, steps: dict[str, int]) -> dict[str, Any]:
    tab.run(SET.format(steps=json.dumps(steps)))
    found: dict[str, Any] = tab.run(READ)
    return found


def _simulated(toml: str) -> tuple[float, float, float, bool]:
    """Return exit speed, exit energy and slip heat of settings as copied, and whether a limit on a throw is broken."""
    settings = tomllib.loads(toml)["stages"]
    launcher = stager.load(reports.configuration()).replace({"stage.crush": settings[0]["crush"]})
    checked = launcher.check(*(one["speed"] for one in settings))
    done = checked.design.throw
    broken = any(not one.satisfied for one in checked.verdicts)
    energy = next(one for one in checked.verdicts if one.name == "exit_energy").value
    return float(done.exit_speed), float(energy), float(done.stages.slip_heat.sum()), broken


@pytest.mark.parametrize("width", WIDTHS)
def test_sixty_positions_agree_with_the_simulation(tab: Tab, width: int) -> None:
    tab.open(_page(), width)
    ends = tab.run(RANGES)
    assert {"wheel-1", "wheel-2", "crush", "rate"} <= set(ends)
    rng, compared = np.random.default_rng(width), 0
    while compared < EACH:
        # Near the plan as well as from end to end.
        share = float(rng.choice([0.15, 0.5, 1.0]))
        steps = {key: int(share * rng.integers(low, high, endpoint=True)) for key, (low, high) in ends.items()}
        told = _answer(tab, steps)
        if not told["copy"]:
            assert told["toml"].startswith("# Not given.")
            assert "Do not throw with these settings." in told["words"]
            compared += told["speed"] != ""
            continue
        speed, energy, heat, _ = _simulated(told["toml"])
        assert float(told["speed"]) == pytest.approx(speed, rel=CLOSE)
        assert float(told["energy"]) == pytest.approx(energy, rel=CLOSE)
        assert float(told["heat"]) == pytest.approx(heat, rel=CLOSE)
        compared += 1
    assert tab.requests() == [_page().as_uri()]
    assert tab.console_messages() == []


def test_broken_limit_is_told_in_words(tab: Tab) -> None:
    tab.open(_page(), 1440)
    ends = tab.run(RANGES)
    fast = _answer(tab, {key: high for key, (_, high) in ends.items() if key.startswith("wheel")})
    assert "Breaks the limit on" in fast["words"] or "Do not throw" in fast["words"]
    assert any(word == "BROKEN" for _, word in fast["limits"])
    planned = _answer(tab, dict.fromkeys(ends, 0))
    assert planned["words"].startswith("All limits that are followed here are kept.")
    best = reports.without_throws().plan.best
    assert best is not None
    assert float(planned["speed"]) == pytest.approx(best.exit_speed, rel=CLOSE)


def test_sliders_work_by_keyboard(tab: Tab) -> None:
    tab.open(_page(), 1440)
    before = tab.run(READ)
    tab.run("document.getElementById('wheel-1').focus()")
    for _ in range(5):
        tab.press("ArrowLeft")
    tab.run("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))")
    after = tab.run(READ)
    assert tab.run("document.getElementById('wheel-1').value") == "-5"
    assert float(after["speed"]) < float(before["speed"])
    assert tab.run("document.getElementById('wheel-1').getAttribute('aria-valuetext')").endswith(" rpm")


@pytest.mark.parametrize("axes", [1, 2, 5, 13])
def test_points_are_those_of_haltons_sequence(axes: int) -> None:
    # scipy.stats.qmc begins with the origin.
    expected = qmc.Halton(axes, scramble=False).random(2001)[1:]
    assert halton(axes, 2000) == pytest.approx(expected, abs=1e-14)
