"""What a person sets by the tachometer is a reading of it: typed into a table, it is read as the true speed."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

import stager
from stager.fit.experiment_design import Suggested
from stager.fit.table.reader import read_text
from stager.fit.table.writer import in_column, open_table, wheel_columns
from stager.model.launcher import Launcher, Measuring
from stager.physics.chain import throw
from stager.report.bench import next_answer, next_summary, screen
from tests.cli.run import ROOT
from tests.report.test_bench import FOUND, SOURCE

SEED = stager.load(ROOT / "configs" / "seed_ball.toml")
TABLE = ROOT / "configs" / "seed_ball_throws.csv"
factors = st.floats(0.8, 1.25)


def _launcher(factor: float) -> Launcher:
    """Return the seed-ball thrower with a tachometer of which true speeds are `factor` times the indicated ones."""
    return replace(SEED.scenario.launcher, measuring=Measuring(wheel_speed=factor))


def _read(value: float, unit: str, launcher: Launcher) -> float:
    """Return the true wheel speed [m/s] that a table with this value in its wheel column is read as."""
    throws = read_text(f"wheel_1 [{unit}],exit_speed [m/s]\n{value!r},9\n", Path("throws.csv"), launcher)
    return float(throws.surface_speed(launcher, [0], 0)[0, 0])


@given(factor=factors, wheel_speed=st.floats(5.0, 30.0), unit=st.sampled_from(["rpm", "rad/s", "rev/s", "m/s", "km/h"]))
def test_reading_at_a_true_speed_is_read_as_that_speed(
    factor: float, wheel_speed: float, unit: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    launcher, path = _launcher(factor), tmp_path_factory.mktemp("table") / "throws.csv"
    path.write_text(f"wheel_1 [{unit}],exit_speed [m/s]\n", encoding="utf-8")
    with open_table(path, launcher, 1) as (writer, _):
        shown = in_column(wheel_speed, wheel_columns(writer)[0][0], launcher)
    assert shown is not None
    assert _read(shown, unit, launcher) == pytest.approx(wheel_speed)


@examples(max_examples=20)
@given(factor=factors, wheel_speed=st.floats(5.0, 30.0))
def test_next_tells_readings_that_a_table_reads_as_the_advised_speeds(factor: float, wheel_speed: float) -> None:
    launcher = _launcher(factor)
    planned = (Suggested(wheel_speed=np.array([wheel_speed]), wrong_after=0.5),)
    found = replace(FOUND, launcher=launcher, plan=planned)
    (row,) = next_summary(found)["plan"]
    assert _read(row["indicated_rpm"][0], "rpm", launcher) == pytest.approx(wheel_speed)
    assert row["rpm"][0] == pytest.approx(factor * row["indicated_rpm"][0])
    shown = next_answer(found, SOURCE).screen
    assert shown is not None
    # Rounded down, as advice goes beyond no limit; 1e-6 rpm for conversion to surface speed and back.
    reading = f"{np.floor(row['indicated_rpm'][0] + 1e-6):.0f}"
    assert shown.tables[0].rows[0][2] == reading
    assert shown.tables[0].columns[2].head == "tachometer"
    assert f"({reading} rpm on the tachometer)" in shown.headline


@examples(max_examples=10)
@given(factor=factors, unit=st.sampled_from(["rpm", "m/s"]))
def test_bench_advises_readings(factor: float, unit: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    launcher, path = _launcher(factor), tmp_path_factory.mktemp("table") / "throws.csv"
    path.write_text(f"wheel_1 [{unit}],exit_speed [m/s]\n", encoding="utf-8")
    with open_table(path, launcher, 1) as (writer, _):
        notes = screen(replace(FOUND, launcher=launcher), True, writer.throws(), writer).notes
    for start in ("Throw next at ", "wheel speed "):
        said = re.search(rf"{start}([\d.]+) ", " ".join(notes))
        assert said is not None
        assert _read(float(said[1]), unit, launcher) == pytest.approx(15.0, rel=1e-3)


def test_card_tells_readings() -> None:
    speeds = {"stages": [{"speed": "12 m/s"}, {"speed": "16 m/s"}], "limits.grip_margin": 0.0}
    card = SEED.replace({**speeds, "measuring.wheel_speed": 1.08}).card().card
    rpm = next(k for k, column in enumerate(card.settings.columns) if column.unit == "rpm")
    assert [_read(float(row[rpm]), "rpm", _launcher(1.08)) for row in card.settings.rows] == pytest.approx(
        [12.0, 16.0], rel=1e-3
    )
    assert card.first is not None
    share, first, second = (float(cell) for cell in card.first.rows[0][:3])
    assert _read(first, "rpm", _launcher(1.08)) == pytest.approx(0.12 * share, rel=1e-3)
    assert _read(second, "rpm", _launcher(1.08)) == pytest.approx(0.16 * share, rel=1e-3)
    assert "as the tachometer shows them" in card.facts


def test_sweep_tells_the_reading_at_the_recommended_speed() -> None:
    swept = SEED.replace({"measuring.wheel_speed": 1.08}).sweep(1)
    shown = swept.answer().screen
    assert shown is not None
    assert swept.recommended is not None
    said = re.search(r"until the tachometer shows (\d+) rpm", " ".join(shown.notes))
    assert said is not None
    assert _read(float(said[1]), "rpm", _launcher(1.08)) == pytest.approx(swept.recommended.wheel_speed, rel=1e-3)


@pytest.mark.usefixtures("few_draws")
def test_advice_after_a_fit_goes_by_the_fitted_tachometer(tmp_path: Path) -> None:
    launcher = SEED.replace({"measuring.wheel_speed": "1.02 ± 0.05", "contact.friction.fade_speed": "9 m/s"})
    real = _launcher(1.08)
    wheel_speed = np.repeat(np.linspace(7.0, 20.0, 9), 3)
    exits = throw(real, wheel_speed[:, None]).exit_speed
    rng = np.random.default_rng(3)
    rows = zip(wheel_speed / 1.08, exits * np.exp(0.005 * rng.normal(size=27)), strict=True)
    path = tmp_path / "throws.csv"
    path.write_text("wheel_1 [m/s],exit_speed [m/s]\n" + "".join(f"{u:.3f},{v:.3f}\n" for u, v in rows))
    throws = launcher.read_throws(path)
    done, found = launcher.fit(throws), launcher.next(throws, count=2)
    factor = done.values["measuring.wheel_speed"]
    assert found.launcher.measuring is not None
    assert np.asarray(found.launcher.measuring.wheel_speed).item() == pytest.approx(factor)
    assert found.plan
    for row in next_summary(found)["plan"]:
        assert row["rpm"][0] == pytest.approx(factor * row["indicated_rpm"][0])
    screen = done.answer().screen
    assert screen is not None
    set_to = ", ".join(f"{one.wheel_speed / factor / 0.04 * 30 / np.pi:.0f}" for one in done.recommended)
    assert f"until the tachometer shows {set_to} rpm" in " ".join(screen.notes).replace(" and ", ", ")
