"""Dimensions in the side view of a launcher: circles, gaps, rail and the numbers on it."""

from __future__ import annotations

import re
import xml.etree.ElementTree as Xml
from pathlib import Path

import pytest

import stager
from stager.report.figures import of_launcher as side
from tests.page.reports import with_values

ROOT = Path(__file__).parents[2]
SVG = "{http://www.w3.org/2000/svg}"


def _drawn(tmp_path: Path, name: str, count: int, extra: str = "", **values: str) -> Xml.Element:
    text = with_values((ROOT / "configs" / f"{name}.toml").read_text(encoding="utf-8"), **values)
    path = tmp_path / "drawn.toml"
    path.write_text(text + extra, encoding="utf-8")
    picture = side.picture(stager.load(path).scenario.launcher, count)
    assert picture is not None
    return Xml.fromstring(picture.svg())


def _circles(drawing: Xml.Element, kind: str) -> list[tuple[float, float, float]]:
    """Return position, height (upwards) and radius [mm] of the circles of a kind."""
    found = [one for one in drawing.iter(f"{SVG}circle") if one.get("class") == kind]
    return [(float(one.get("cx", "")), -float(one.get("cy", "")), float(one.get("r", ""))) for one in found]


def _texts(drawing: Xml.Element) -> list[str]:
    return [one.text or "" for one in drawing.iter(f"{SVG}text")]


def test_side_view_of_pairs(tmp_path: Path) -> None:
    drawing = _drawn(tmp_path, "seed_ball", 3)
    # configs/seed_ball.toml: ball 38 mm, crush 4 mm, wheels of 40 mm radius 6 mm apart, tyres 3 mm deep, bore 5 mm
    places = [40.0, 126.0, 212.0]
    height = 40.0 + (38.0 - 4.0) / 2
    wanted = [(x, y, 40.0) for x in places for y in (height, -height)]
    assert _circles(drawing, "tyre") == wanted
    assert {r for _, _, r in _circles(drawing, "hub")} == {37.0}
    assert {r for _, _, r in _circles(drawing, "bore")} == {2.5}
    assert [r for _, _, r in _circles(drawing, "projectile")] == [19.0]
    assert {"38", "34", "Ø 80", "252"} <= set(_texts(drawing))
    assert _texts(drawing).count("86") == 2


def test_side_view_of_a_rail_has_full_crush(tmp_path: Path) -> None:
    drawing = _drawn(tmp_path, "foam_disc", 2)
    # configs/foam_disc.toml: disc 65 mm, crush 5 mm, wheels of 30 mm radius 8 mm apart, a rail below
    assert _circles(drawing, "tyre") == [(30.0, 57.5, 30.0), (98.0, 57.5, 30.0)]
    (rail,) = [one for one in drawing.iter(f"{SVG}polygon") if one.get("class") == "rail"]
    corners = [tuple(map(float, pair.split(","))) for pair in rail.get("points", "").split()]
    assert min(y for _, y in corners) == pytest.approx(32.5)
    assert [min(x for x, _ in corners), max(x for x, _ in corners)] == pytest.approx([0.0, 128.0])
    assert {"65", "60", "Ø 60", "68", "128"} <= set(_texts(drawing))


def test_side_view_of_a_rod_includes_its_length(tmp_path: Path) -> None:
    drawing = _drawn(tmp_path, "streamer", 2)
    # configs/streamer.toml: rod 24 mm across, 70 mm long, crush 2 mm, wheels of 30 mm radius 30 mm apart
    (rod,) = [one for one in drawing.iter(f"{SVG}polygon") if one.get("class") == "projectile"]
    corners = [tuple(map(float, pair.split(","))) for pair in rod.get("points", "").split()]
    assert [min(x for x, _ in corners), max(x for x, _ in corners)] == pytest.approx([-70.0, 0.0])
    assert [min(y for _, y in corners), max(y for _, y in corners)] == pytest.approx([-12.0, 12.0])
    assert {"24", "22", "90", "220"} <= set(_texts(drawing))


def test_side_view_of_unequal_stages(tmp_path: Path) -> None:
    extra = """
[[stages]]
pitch = "95.5 mm"
[[stages]]
layout = "idler"
crush = "5 mm"
[stages.idler]
inertia = "2e-5 kg m^2"
[stages.wheel]
radius = "30 mm"
width = "18 mm"
bore = "0 mm"
material = "aluminium"
"""
    drawing = _drawn(tmp_path, "seed_ball", 2, extra)
    # Written just above: 95.5 mm from axis to axis; then 30 mm wheels, crush 5 mm: 33 mm of free gap.
    assert _circles(drawing, "tyre") == [(40.0, 57.0, 40.0), (40.0, -57.0, 40.0), (135.5, 46.5, 30.0)]
    assert _circles(drawing, "idler") == [(135.5, -46.5, 30.0)]
    assert {"95.5", "33", "165.5", "idler"} <= set(_texts(drawing))


def test_dimension_lines_have_the_stated_length(tmp_path: Path) -> None:
    drawing = _drawn(tmp_path, "table_tennis", 3)
    lengths = set()
    for one in drawing.iter(f"{SVG}polyline"):
        if one.get("class") == "dimension":
            (x0, y0), (x1, y1) = (map(float, pair.split(",")) for pair in one.get("points", "").split())
            lengths.add(round(abs(x1 - x0) + abs(y1 - y0), 2))
    labels = {float(text.removeprefix("Ø ")) for text in _texts(drawing) if re.fullmatch(r"(Ø )?[\d.]+", text)}
    # configs/table_tennis.toml: ball 40 mm, crush 1.8 mm, wheels 50 mm across 6 mm apart
    assert labels - {1.0, 2.0, 3.0} == {40.0, 38.2, 50.0, 56.0, 162.0}
    assert labels - {1.0, 2.0, 3.0} <= lengths


def test_side_view_is_within_its_view_box(tmp_path: Path) -> None:
    drawing = _drawn(tmp_path, "foam_disc", 4)
    left, top, wide, high = (float(part) for part in drawing.get("viewBox", "").split())
    points = [tuple(map(float, pair.split(","))) for one in drawing.iter() for pair in one.get("points", "").split()]
    assert points
    assert all(left <= x <= left + wide and top <= y <= top + high for x, y in points)
    circles = [tuple(float(one.get(name, "")) for name in ("cx", "cy", "r")) for one in drawing.iter(f"{SVG}circle")]
    assert all(left <= x - r and x + r <= left + wide and top <= y - r and y + r <= top + high for x, y, r in circles)


def test_no_side_view_without_stages() -> None:
    assert side.picture(stager.load(ROOT / "configs" / "streamer.toml").scenario.launcher, 0) is None
