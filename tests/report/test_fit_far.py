"""A fit to slow throws says that they tell nothing of the grip limit, and not to go to a far wheel speed at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import stager
from stager.fit.adequacy import ALL_GRIPPED
from stager.fit.posterior import LEAST_TOLD
from stager.report.predictions import FAR

SEED_BALL = stager.load("configs/seed_ball.toml")


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize(("wheels", "far"), [((4.0, 4.5, 5.0), True), ((9.0, 10.5, 12.0), False)])
def test_a_fit_to_throws_in_grip_says_so_and_how_to_go_on(wheels: tuple[float, ...], far: bool, tmp_path: Path) -> None:
    # Both wheels drive a ball in grip to their speed.
    table = tmp_path / "throws.csv"
    throws = "".join(f"{u},{float(SEED_BALL.simulate(u).exit_speed):.3f}\n" for u in wheels)
    table.write_text(f"wheel_1 [m/s],exit_speed [m/s]\n{throws}", encoding="utf-8")
    screen = SEED_BALL.fit(table, stages=1).answer().screen
    assert screen is not None
    assert ALL_GRIPPED in screen.notes
    assert (FAR in screen.notes) == far
    assert ALL_GRIPPED not in screen.more_notes


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("told", [0.1, 0.3, 0.6])
def test_a_full_screen_has_each_table_once(told: float, tmp_path: Path) -> None:
    table = tmp_path / "throws.csv"
    throws = "".join(f"{u},{float(SEED_BALL.simulate(u).exit_speed):.3f}\n" for u in (9.0, 10.5, 12.0))
    table.write_text(f"wheel_1 [m/s],exit_speed [m/s]\n{throws}", encoding="utf-8")
    found = SEED_BALL.fit(table, stages=1)
    alike = tuple(replace(one, told=told, identified=told >= LEAST_TOLD) for one in found.fit.parameters)
    screen = replace(found, fit=replace(found.fit, parameters=alike)).answer().shown
    titles = [one.title for one in screen.all_tables(full=True)]
    assert len(titles) == len(set(titles))
    assert "What the throws tell about each parameter" in titles
    assert screen.abridged


@pytest.mark.usefixtures("few_draws")
def test_a_fit_of_which_no_setting_keeps_the_limits_has_a_whole_headline(tmp_path: Path) -> None:
    table = tmp_path / "throws.csv"
    throws = "".join(f"{u},{float(SEED_BALL.simulate(u).exit_speed):.3f}\n" for u in (9.0, 10.5, 12.0))
    table.write_text(f"wheel_1 [m/s],exit_speed [m/s]\n{throws}", encoding="utf-8")
    shown = SEED_BALL.replace({"limits.slip_heat": "1e-6 J"}).fit(table, stages=1).answer().shown
    assert shown.headline == "Fitted 3 throws."
    assert any("no wheel speed keeps the limits: it breaks slip heat" in note for note in shown.notes)
