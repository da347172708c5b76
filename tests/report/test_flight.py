"""Flight and shot-to-shot scatter on the screen, in the document and in the figure."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import stager
from stager.api import Loaded
from stager.optimise.draws import Flown
from stager.physics.scatter import Scatter, Shots
from stager.report.figures import of_throw as figures
from stager.report.flight import notes
from tests.cli.run import ROOT
from tests.cli.run import stager as run

FLIGHT = """
[flight]
height = "1.2 m ± 2 cm"
tilt = "10 deg ± 0.5 deg"
target = "5 m"
side_a = "bottom"
spread = {tilt = "0.3 deg", heading = "0.2 deg"}
"""


def _text(*, flight: str = FLIGHT, spreads: bool = True) -> str:
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    text = "\n".join(line for line in text.splitlines() if not line.startswith("#")) + "\n"
    text = text.replace("\n[limits]\n", f"{flight}\n[limits]\n")
    if not spreads:
        return text
    text = text.replace('diameter = "38 mm"', 'diameter = "38 mm"\nspread = {mass = "2 %", diameter = "0.1 mm"}')
    text = text.replace('rate = "1 /s"', 'rate = "1 /s"\nspread = {speed = "0.05 m/s"}')
    return text.replace('clearance = "6 mm"', 'clearance = "6 mm"\nspread = {speed = "0.5 %"}')


@pytest.fixture
def path(tmp_path: Path) -> Path:
    (tmp_path / "flown.toml").write_text(_text(), encoding="utf-8")
    return tmp_path / "flown.toml"


def _throw_document(path: Path, *speeds: str) -> dict[str, Any]:
    given = [part for speed in speeds for part in ("--speed", speed)]
    document: dict[str, Any] = json.loads(run("throw", str(path), *given, "--json").out)
    return document


def test_document_has_flight_and_shots(path: Path) -> None:
    document = _throw_document(path, "9", "13:11")
    flight, shots = document["flight"], document["shots"]
    assert flight["height_m"] == 1.2
    assert flight["tilt_rad"] == pytest.approx(np.pi / 18)
    # Drag shortens the flight, backspin lengthens it.
    assert flight["with_drag"]["distance_m"] < flight["with_lift"]["distance_m"]
    assert flight["with_drag"]["distance_m"] < flight["without_air"]["distance_m"]
    assert flight["danger_range_m"] >= flight["with_lift"]["distance_m"]
    assert flight["danger_range_m"] > document["safety"]["danger_range_m"]
    assert flight["at_target"]["distance_m"] == pytest.approx(5.0)
    builds, group = flight["builds"]["landing_m"], shots["landing_m"]
    assert builds["low"] < flight["with_lift"]["distance_m"] < builds["high"]
    assert group["low"] < flight["with_lift"]["distance_m"] < group["high"]
    # Uncertainty of the build moves all shots together, so its interval differs from the shot-to-shot one.
    assert builds["high"] - builds["low"] > 1.2 * (group["high"] - group["low"])
    assert {one["name"] for one in shots["causes"]} == {
        "projectile mass", "projectile diameter", "feed speed", "wheel speed", "tilt", "heading"
    }  # fmt: skip
    assert shots["flown"] == "with drag and lift"
    # 0.2° over 5 m: 17.5 mm (small angle).
    sideways = next(one for one in shots["causes"] if one["name"] == "heading")["sideways_at_target_m"]
    assert sideways == pytest.approx(5 * np.radians(0.2), rel=0.02)


def test_screen_describes_flight_and_scatter(path: Path) -> None:
    ran = run("throw", str(path), "--speed", "9", "--speed", "13:11")
    message = " ".join(ran.out.split())
    for words in (
        "Flight: it lands", "with drag and lift, in 95 % of builds", "keep people farther away", "At 5 m it passes",
        "Shot to shot: 95 % of shots leave at", "Most comes from", "--full shows more",
    ):  # fmt: skip
        assert words in message
    assert "standard deviation from each cause" not in message
    full = run("throw", str(path), "--speed", "9", "--speed", "13:11", "--full").out
    assert "standard deviation from each cause" in full
    assert "all together" in full


@pytest.mark.parametrize(
    ("jams", "words"),
    [(0.0, "Shot to shot: 95 % of shots leave at"), (0.245, "Shot to shot: 95 % of the shots that leave do so at")],
)
def test_scatter_is_of_the_shots_that_leave(jams: float, words: str) -> None:
    speeds = Scatter(middle=8.0, standard_deviation=0.1, low=7.8, high=8.2)
    shots = Shots(
        exit_speed=speeds, landing=None, height=None, sideways=None, target=None, fastest=8.3, farthest=None, causes=(),
        jams=jams, flown="", draws=400,
    )  # fmt: skip
    launcher = stager.load(ROOT / "configs" / "seed_ball.toml").scenario.launcher
    said = notes(launcher, Flown(landing=None, builds=None, shots=shots))
    assert said[0].startswith(f"{words} 7.80 to 8.20 m/s")
    assert ("24.5 % of shots jam." in said[0]) is (jams > 0)


def test_no_flight_or_scatter_without_their_keys(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    path.write_text(_text(flight="", spreads=False), encoding="utf-8")
    document = _throw_document(path, "9")
    assert document["flight"] is None
    assert document["shots"] is None
    assert "Shot to shot" not in run("throw", str(path), "--speed", "9").out


def test_spreads_without_flight_give_the_speed_scatter(tmp_path: Path) -> None:
    path = tmp_path / "spread.toml"
    path.write_text(_text(flight=""), encoding="utf-8")
    document = _throw_document(path, "9")
    assert document["flight"] is None
    assert document["shots"]["landing_m"] is None
    assert document["shots"]["exit_speed_m_s"]["standard_deviation"] > 0


def test_lift_needs_the_position_of_side_a(tmp_path: Path) -> None:
    path = tmp_path / "side.toml"
    path.write_text(_text(flight=FLIGHT.replace('side_a = "bottom"\n', "")), encoding="utf-8")
    assert _throw_document(path, "13:11")["flight"]["with_lift"] is None
    message = " ".join(run("throw", str(path), "--speed", "13:11").out.split())
    assert "set flight.side_a" in message


def test_target_beyond_the_landing_is_reported(tmp_path: Path) -> None:
    path = tmp_path / "far.toml"
    path.write_text(_text(flight=FLIGHT.replace('"5 m"', '"40 m"')), encoding="utf-8")
    message = " ".join(run("throw", str(path), "--speed", "9").out.split())
    assert "comes to the ground before the target at 40 m" in message


@pytest.mark.parametrize("share", [0.4, 0.7, 1.5, 2.0, 5.0])
def test_group_at_the_target_is_told_where_shots_reach_it_above_the_ground(share: float, tmp_path: Path) -> None:
    path = tmp_path / "target.toml"
    path.write_text(_text(), encoding="utf-8")
    lands = _throw_document(path, "9")["flight"]["with_drag"]["distance_m"]
    path.write_text(_text(flight=FLIGHT.replace('"5 m"', f'"{share * lands:.3f} m"')), encoding="utf-8")
    ran = run("throw", str(path), "--speed", "9", "--full")
    message, document = " ".join(ran.out.split()), _throw_document(path, "9")
    reached = share < 1
    assert ("before the target" not in message) is reached
    assert ("they lie within" in message) is reached
    assert ("sideways" in message) is reached
    for height in (document["shots"]["height_at_target_m"], document["flight"]["builds"]["height_at_target_m"]):
        assert (height is not None) is reached


@pytest.mark.parametrize("wheel", ["1.3", "2", "3", "4", "9"])
def test_lengths_of_a_sentence_have_one_unit(wheel: str, tmp_path: Path) -> None:
    path = tmp_path / "near.toml"
    flight = FLIGHT.replace('"1.2 m ± 2 cm"', '"0.4 m ± 2 cm"').replace('target = "5 m"\n', "")
    path.write_text(_text(flight=flight), encoding="utf-8")
    message = " ".join(run("throw", str(path), "--speed", wheel).out.split())
    lands = re.search(r"Flight: it lands .*?\. At the best", message)
    assert lands is not None
    assert len(set(re.findall(r"\d (mm|cm|m)\b", lands[0]))) == 1
    shots = re.search(r"Shot to shot: .*? away", message)
    assert shots is not None
    assert len(set(re.findall(r"\d (mm|cm|m)\b(?!/)", shots[0]))) == 1


WRONG = [
    ('height = "1.2 m ± 2 cm"', 'height = "-1 m"', "flight.height"), ('"10 deg ± 0.5 deg"', '"100 deg"', "flight.tilt"),
    ('"10 deg ± 0.5 deg"', '"10"', "flight.tilt"), ('"bottom"', '"below"', "flight.side_a"),
    ('tilt = "0.3 deg"', "tilt = 0.3", "flight.spread.tilt"),
    ('tilt = "0.3 deg"', 'tilt = "3 m"', "flight.spread.tilt"),
    ('mass = "2 %"', 'mass = "-2 %"', "projectile.spread.mass"),
    ('mass = "2 %"', 'mass = "2 g ± 1 g"', "projectile.spread.mass"),
    ('mass = "2 %"', 'mass = "200 %"', "projectile.spread.mass"),
    ('mass = "2 %"', 'weight = "2 %"', "projectile.spread.weight"),
    ('{speed = "0.05 m/s"}', "{}", "feed.spread.speed"),
]  # fmt: skip


@pytest.mark.parametrize("old, new, key", WRONG)
def test_invalid_value_is_an_input_error_with_key_and_hint(old: str, new: str, key: str, tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    text = _text()
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    ran = run("throw", str(path), "--speed", "9")
    assert ran.status == 2
    assert f": {key}: " in ran.err
    assert "hint: " in ran.err


def _picture(loaded: Loaded) -> figures.Picture:
    done = loaded.simulate(9, "13:11")
    launcher = loaded.scenario.launcher
    found = figures.flight_picture(launcher, loaded.flown(done), float(done.exit_speed), float(done.spin))
    assert found is not None
    return found


def test_flight_figure_agrees_with_its_table(path: Path) -> None:
    loaded = stager.load(path)
    picture = _picture(loaded)
    (axes,) = picture.figure().axes
    lines = {one.get_label(): one for one in axes.lines}
    heads = [column.head for column in picture.twin.columns]
    for name in ("without air", "with drag", "with drag and lift"):
        x, y = (np.asarray(part, dtype=float) for part in lines[name].get_data())
        column = heads.index(name)
        for row in picture.twin.rows:
            if row[column]:
                assert float(row[column]) == pytest.approx(float(np.interp(float(row[0]), x, y)), abs=0.02)
        (lands,) = (float(row[0]) for row in picture.twin.rows if row[-1] == f"lands {name}")
        assert lands == pytest.approx(x[-1], rel=6e-3)
        assert y[0] == pytest.approx(1.2)
    (danger,) = (float(row[0]) for row in picture.twin.rows if row[-1] == "danger range")
    dashes = [one.get_xdata()[0] for one in axes.lines if len(one.get_xdata()) == 2]
    assert dashes == [pytest.approx(danger, rel=6e-3)]
    assert f"{danger:g}" in picture.alt
    assert picture.svg() == _picture(loaded).svg()


def test_no_flight_figure_without_flight_data(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    path.write_text(_text(flight="", spreads=False), encoding="utf-8")
    loaded = stager.load(path)
    done = loaded.simulate(9)
    assert figures.flight_picture(loaded.scenario.launcher, loaded.flown(done), 9.0, 0.0) is None


@pytest.mark.usefixtures("few_draws")
def test_plan_and_page_include_the_flight(tmp_path: Path) -> None:
    path = tmp_path / "page.toml"
    text = _text().replace("stages = 5", "stages = 1")
    path.write_text(text, encoding="utf-8")
    loaded = stager.load(path)
    plan = loaded.plan(draws=20)
    document = plan.answer().document
    assert document["flight"]["builds"]["landing_m"]["low"] > 0
    assert document["shots"]["draws"] == 20
    report = loaded.report(plan=plan)
    assert "flight" in {picture.name for picture in report.pictures()}
    page = report.html()
    assert "Where it lands" in page
    assert 'id="figure-flight"' in page
    assert page.count("Shot to shot: 95 % of shots") == 1


def test_flight_uncertainties_are_not_fitted(path: Path) -> None:
    scenario = stager.load(path).scenario
    assert {one.key for one in scenario.flight_uncertain} == {"flight.height", "flight.tilt"}
    assert not any(one.key.startswith("flight") for one in scenario.uncertain)


def test_tilt_uncertainty_widens_the_landing_interval(tmp_path: Path) -> None:
    widths = []
    for number, spread in enumerate(("0.1 deg", "4 deg")):
        path = tmp_path / f"{number}.toml"
        path.write_text(_text(flight=FLIGHT.replace("± 0.5 deg", f"± {spread}")), encoding="utf-8")
        found = _throw_document(path, "9")["flight"]["builds"]["landing_m"]
        widths.append(found["high"] - found["low"])
    assert widths[1] > 3 * widths[0]


def test_danger_range_is_that_of_the_fastest_build_and_shot(tmp_path: Path) -> None:
    # A heavy ball that slips throughout: exit speed follows the friction, of which little is known.
    text = _text(flight=FLIGHT.replace("10 deg ± 0.5 deg", "40 deg ± 0.5 deg"))
    text = re.sub(r"\n(static|sliding|fade_speed) = .*", "", text)
    text = text.replace('law = "falling"', 'law = "constant"\ncoefficient = "0.5 ± 0.1"')
    path = tmp_path / "slips.toml"
    path.write_text(text.replace("18 g ± 0.5 g", "120 g ± 5 g"), encoding="utf-8")
    document = _throw_document(path, "25")
    flight = document["flight"]
    assert flight["builds"]["landing_m"]["high"] > document["safety"]["danger_range_m"]
    assert flight["danger_range_m"] > flight["builds"]["landing_m"]["high"]
    message = " ".join(run("throw", str(path), "--speed", "25").out.split())
    said = re.search(r"At the best tilt the fastest build and shot could reach ([\d.]+) m: keep people", message)
    assert said is not None
    assert float(said[1]) >= flight["danger_range_m"]


RANGE = 'crush_range = ["3 mm", "5 mm"]'


def test_flight_of_chosen_parts_is_over_possible_builds(tmp_path: Path) -> None:
    text = _text(spreads=False).replace('crush = "4 mm ± 0.2 mm"', 'crush = "4 mm ± 0.2 mm"\n' + RANGE)
    path = tmp_path / "chosen.toml"
    path.write_text(text.replace("stages = 5", "stages = 1"), encoding="utf-8")
    found = stager.load(path).plan(draws=20)
    assert found.flown is not None
    assert found.flown.landing is not None
    assert found.flown.builds is not None
    assert found.flown.danger is not None
    assert found.flown.danger > found.flown.landing.danger
