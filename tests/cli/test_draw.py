"""`stager draw`: the side plate at 1:1 as DXF and SVG, read back and measured."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import ezdxf
import pytest
from hypothesis import given
from hypothesis import strategies as st

import stager as package
from stager.report.plate import draw_plate, dxf, svg
from tests.cli.run import stager

SEED_BALL, FOAM_DISC = "configs/seed_ball.toml", "configs/foam_disc.toml"
MOUNT = ("--set", "stage.drive.mount.circle=25 mm", "--set", "stage.drive.mount.screw=3.2 mm")
SVG = "{http://www.w3.org/2000/svg}"
TOLERANCE = 0.01
"""Tolerance of hole positions and diameters [mm]."""


def _dxf_holes(path: Path) -> list[tuple[float, float, float]]:
    document = ezdxf.readfile(path)
    assert document.units == ezdxf.units.MM
    assert document.audit().errors == []
    found = document.modelspace().query('CIRCLE[layer=="HOLES"]')
    return sorted((c.dxf.center.x, c.dxf.center.y, 2 * c.dxf.radius) for c in found)


def _svg_holes(text: str) -> list[tuple[float, float, float]]:
    root = ElementTree.fromstring(text)
    box = [float(value) for value in root.attrib["viewBox"].split()]
    assert root.attrib["width"] == f"{box[2]:.3f}mm"
    assert root.attrib["height"] == f"{box[3]:.3f}mm"
    circles = [c.attrib for c in root.iter(f"{SVG}circle") if c.attrib["data-layer"] == "HOLES"]
    return sorted((float(c["cx"]), -float(c["cy"]), 2 * float(c["r"])) for c in circles)


def test_text_is_within_the_drawing() -> None:
    text = svg(draw_plate(package.load(SEED_BALL).scenario.launcher, 1))
    assert "Holes, from the front of the first wheel and the barrel" in text
    root = ElementTree.fromstring(text)
    left, _, width, _ = (float(value) for value in root.attrib["viewBox"].split())
    shown = [(float(e.attrib["x"]), float(e.attrib["font-size"]), e.text or "") for e in root.iter(f"{SVG}text")]
    assert any("stay out of" in words for _, _, words in shown)
    # A letter is on average about 0.55 times as wide as the font size.
    assert max(x + 0.55 * size * len(words) for x, size, words in shown) <= left + width


def _same_holes(found: list[tuple[float, float, float]], expected: list[tuple[float, float, float]]) -> bool:
    return len(found) == len(expected) and all(
        math.isclose(a, b, abs_tol=TOLERANCE) for one, other in zip(found, sorted(expected), strict=True)
        for a, b in zip(one, other, strict=True)
    )  # fmt: skip


def test_shaft_holes_of_pairs_are_at_the_axes(tmp_path: Path) -> None:
    # By hand: radius 40, clearance 6, ball 38, crush 4 mm: axes 40 + 86 k, 40 + 19 − 2 = 57 mm off the centre line.
    expected = [(40 + 86 * k, side * 57.0, 5.0) for k in range(3) for side in (1, -1)]
    for kind in ("dxf", "svg"):
        path = tmp_path / f"plate.{kind}"
        assert stager("draw", SEED_BALL, "-o", str(path), "--stages", "3").status == 0
        holes = _dxf_holes(path) if kind == "dxf" else _svg_holes(path.read_text(encoding="utf-8"))
        assert _same_holes(holes, expected)


def test_rail_stage_has_one_shaft_hole_at_full_crush(tmp_path: Path) -> None:
    path = tmp_path / "plate.svg"
    done = stager("draw", FOAM_DISC, "-o", str(path), "--stages", "1", "--json")
    hole = json.loads(done.out)["holes"]
    launcher = package.load(FOAM_DISC).scenario.launcher
    stage, projectile = launcher.stage(0), launcher.projectile
    assert len(hole) == 1
    assert hole[0]["y_m"] == pytest.approx(float(stage.wheel.radius + projectile.radius - stage.crush), abs=1e-5)
    assert 'data-layer="RAIL"' in path.read_text(encoding="utf-8")


def test_motor_screw_holes_lie_on_their_circle(tmp_path: Path) -> None:
    path = tmp_path / "plate.dxf"
    assert stager("draw", SEED_BALL, "-o", str(path), *MOUNT).status == 0
    holes = _dxf_holes(path)
    shafts = [hole for hole in holes if math.isclose(hole[2], 5.0)]
    screws = [hole for hole in holes if math.isclose(hole[2], 3.2)]
    assert (len(shafts), len(screws)) == (2, 8)
    for x, y, _ in screws:
        assert min(math.dist((x, y), shaft[:2]) for shaft in shafts) == pytest.approx(12.5, abs=TOLERANCE)


@given(
    radius=st.floats(15, 80), crush=st.floats(1, 8), clearance=st.floats(1, 30), count=st.integers(1, 4),
    layout=st.sampled_from(("pair", "rail", "idler")), bore=st.floats(2, 10),
)  # fmt: skip
def test_drawn_plate_has_its_holes_at_the_axes(
    radius: float, crush: float, clearance: float, count: int, layout: str, bore: float
) -> None:
    change: dict[str, object] = {
        "stage.layout": layout, "stage.wheel.radius": f"{radius} mm", "stage.crush": f"{crush} mm",
        "stage.clearance": f"{clearance} mm", "stage.wheel.bore": f"{bore} mm", "limits.length": "10 m",
    }  # fmt: skip
    if layout == "idler":
        change["stage.idler.inertia"] = "1e-5 kg m^2"
    launcher = package.load(SEED_BALL, change).scenario.launcher
    plate = draw_plate(launcher, count)
    depth = crush if layout == "rail" else crush / 2
    sides = (1,) if layout == "rail" else (1, -1)
    expected = [
        (radius + k * (2 * radius + clearance), side * (radius + 19 - depth), bore)
        for k in range(count)
        for side in sides
    ]
    assert _same_holes(_svg_holes(svg(plate)), expected)
    assert plate.low[0] < 0
    assert all(
        plate.low[0] < c.x - c.diameter / 2 and c.x + c.diameter / 2 < plate.high[0]
        and plate.low[1] < c.y - c.diameter / 2 and c.y + c.diameter / 2 < plate.high[1]
        for c in plate.circles
    )  # fmt: skip


def test_equal_input_gives_equal_files() -> None:
    plate = draw_plate(package.load(SEED_BALL).scenario.launcher, 2, "twice")
    assert svg(plate) == svg(plate)
    assert dxf(plate) == dxf(plate)


def test_title_is_escaped(tmp_path: Path) -> None:
    path = tmp_path / "plate.svg"
    assert stager("draw", SEED_BALL, "-o", str(path), "--set", "title='<b>& \"q\"'").status == 0
    assert len(_svg_holes(path.read_text(encoding="utf-8"))) == 2


@pytest.mark.parametrize(
    ("arguments", "message"),
    [(("-o", "plate.png"), "cannot draw"), (("-o", "plate.svg", "--stages", "9"), "must be 1 to 5")],
)
def test_unsupported_file_type_and_stage_count_are_input_errors(
    arguments: tuple[str, ...], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    config = Path(SEED_BALL).resolve()
    monkeypatch.chdir(tmp_path)
    done = stager("draw", str(config), *arguments)
    assert done.status == 2
    assert message in done.err
    assert list(tmp_path.iterdir()) == []
