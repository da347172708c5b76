"""The table beside each figure has the drawn numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from stager.api.documents import Report
from stager.fit.posterior import Misfit
from stager.report.figures import Picture
from stager.report.figures.of_throw import line, sweep_picture
from stager.report.page import figures
from tests.page import reports


@pytest.fixture(scope="module")
def pictures() -> dict[str, Picture]:
    """Return the pictures of a report with throws by name."""
    report: Report = reports.with_throws()
    return {picture.name: picture for picture in report.pictures()}


def _axes(picture: Picture) -> Axes:
    (axes,) = picture.figure().axes
    return axes


def _column(picture: Picture, head: str, unit: str = "", skip: Sequence[str] = ("-", "", "jam")) -> list[float]:
    place = next(i for i, one in enumerate(picture.twin.columns) if one.head == head and unit in ("", one.unit))
    cells = [row[place].removesuffix(" points") for row in picture.twin.rows if row[place] not in skip]
    return [float(cell.strip(" %<>")) for cell in cells]


def _line(axes: Axes, points: int) -> Line2D:
    return next(one for one in axes.lines if len(one.get_xdata()) == points)


def _assert_close(drawn: object, table: list[float], tolerance: float) -> None:
    assert np.asarray(drawn, dtype=float) == pytest.approx(np.array(table), abs=tolerance)


def test_report_with_throws_has_every_figure(pictures: dict[str, Picture]) -> None:
    wanted = {"launcher", "ladder", "barrel", "sweep-1", "sweep-2", "limits", "energy", "rate", "heat"}
    assert set(pictures) == wanted | {"agreement", "residuals", "told"}


def test_ladder_table(pictures: dict[str, Picture]) -> None:
    picture = pictures["ladder"]
    spine = _axes(picture).lines[0]
    # The table begins with one stage, the figure with the feed speed.
    _assert_close(spine.get_xdata()[1:], _column(picture, "stages"), 0)
    _assert_close(spine.get_ydata()[1:], _column(picture, "exit"), 0.0051)
    bars = [one.get_ydata() for one in _axes(picture).lines[1:] if len(one.get_ydata()) == 2]
    place = [column.head for column in picture.twin.columns].index("95 % of builds")
    table = [[float(end) for end in row[place].split(" to ")] for row in picture.twin.rows]
    _assert_close(np.array(bars)[-len(table) :], table, 0.0051)  # type: ignore[arg-type]


def test_barrel_table(pictures: dict[str, Picture]) -> None:
    picture = pictures["barrel"]
    course = _line(_axes(picture), len(picture.twin.rows))
    _assert_close(course.get_xdata(), _column(picture, "place"), 0.051)
    _assert_close(course.get_ydata(), _column(picture, "speed"), 0.0051)


@pytest.mark.parametrize("stage", [1, 2])
def test_sweep_table(pictures: dict[str, Picture], stage: int) -> None:
    picture = pictures[f"sweep-{stage}"]
    curve = reports.with_throws().data.curves[stage - 1]
    axes = _axes(picture)
    drawn = _line(axes, line(curve.sweep)[0].size)
    table = {(row[0], row[1].replace("jam", "0.00")) for row in picture.twin.rows if row[-1] in ("", "grip limit")}
    assert {(f"{u:.2f}", f"{v:.2f}") for u, v in drawn.get_xydata()} == table
    notes = {row[-1]: (float(row[0]), float(row[1])) for row in picture.twin.rows if row[-1]}
    setting = next(one for one in axes.lines if one.get_marker() == "o")
    _assert_close(setting.get_xydata()[0], list(notes["setting"]), 0.0101)
    dashes = [one.get_xdata()[0] for one in axes.lines if len(one.get_xdata()) == 2 and one.get_color() == "#ad3f1a"]
    _assert_close(dashes, [notes["grip limit"][0]], 0.0051)
    crosses = next(one for one in axes.lines if one.get_marker() == "x")
    rows = sorted((float(row[0]), float(row[1])) for row in picture.twin.rows if row[-1] == "measured")
    _assert_close(sorted(map(tuple, crosses.get_xydata())), rows, 0.0051)  # type: ignore[arg-type]


def test_setting_of_a_sweep_is_rounded_down() -> None:
    curve = replace(reports.with_throws().data.curves[0], setting=(14.1376, 13.3197))
    picture = sweep_picture(curve)
    assert "Setting 14.13 m/s." in picture.caption
    assert "The setting is 14.13 m/s, exit 13.32 m/s." in picture.alt
    assert [row[:2] for row in picture.twin.rows if row[-1] == "setting"] == [("14.13", "13.32")]


def test_sweeps_that_throws_contradict_show_throws_and_tell_no_grip_limit() -> None:
    data = reports.with_throws().data
    assert data.learned is not None
    misfit = Misfit(kind="scatter", words="throws scatter by 20 % about the fit")
    learned = replace(data.learned, fit=replace(data.learned.fit, misfits=(misfit,)))
    curves = (data.curves[0], replace(data.curves[1], measured=np.zeros((0, 2))))
    shown = {one.name: one for one in figures(replace(data, learned=learned, curves=curves))}
    # Stage 2 has no throws that could be evidence.
    assert set(shown) == {"sweep-1", "agreement", "residuals", "told"}
    picture = shown["sweep-1"]
    assert picture.caption == (
        "By the configuration, which the throws contradict. Shaded: 95 % of builds. Crosses: measured throws."
    )
    assert "grip limit" not in picture.alt
    assert {row[-1] for row in picture.twin.rows} == {"", "measured"}
    assert not [one for one in _axes(picture).texts if "grip" in one.get_text()]


def test_measured_throws_are_listed_in_the_sweep_table(pictures: dict[str, Picture]) -> None:
    rows = [row for row in pictures["sweep-1"].twin.rows if row[-1] == "measured"]
    # 2200 rpm at a radius of 40 mm is 9.215 m/s; 7 throws of the table used one wheel.
    assert rows[0][:2] == ("9.22", "8.66")
    assert len(rows) == 7


def test_limits_table(pictures: dict[str, Picture]) -> None:
    picture = pictures["limits"]
    widths = [bar.get_width() for bar in _axes(picture).patches]
    table = [min(value, 100.0) for value in _column(picture, "margin")]
    _assert_close(widths, table, 0.51)


def test_energy_table(pictures: dict[str, Picture]) -> None:
    picture = pictures["energy"]
    axes = _axes(picture)
    bars = {container.get_label(): [bar.get_width() for bar in container] for container in axes.containers}
    assert set(bars) == {"motion", "slip heat", "crushing"}
    for kind, widths in bars.items():
        table = _column(picture, kind)
        assert np.asarray(widths) == pytest.approx(np.array(table[:-1]), rel=6e-3)
        assert sum(widths) == pytest.approx(table[-1], rel=6e-3)
    work = np.array(_column(picture, "wheel work"))[:-1]
    assert sum(np.array(widths) for widths in bars.values()) == pytest.approx(work, rel=6e-3)


def test_rate_table(pictures: dict[str, Picture]) -> None:
    picture = pictures["rate"]
    table = _column(picture, "exit")
    drawn = _line(_axes(picture), len(table) - 1)
    _assert_close(drawn.get_ydata(), table[:-1], 0.0051)
    _assert_close(_axes(picture).lines[0].get_ydata()[0], table[-1:][0], 0.0051)  # type: ignore[arg-type]
    # The last of twelve throws is close to the steady state.
    assert table[-2] == pytest.approx(table[-1], abs=0.011)


def test_heat_table(pictures: dict[str, Picture]) -> None:
    picture = pictures["heat"]
    rows = picture.twin.rows[:-1]
    for k, drawn in enumerate(_axes(picture).lines[: len(picture.twin.columns) - 1]):
        _assert_close(drawn.get_xdata(), [float(row[0]) for row in rows], 0.0051)
        _assert_close(drawn.get_ydata(), [float(row[k + 1]) for row in rows], 0.051)
    assert rows[-1][0] == "3.00"  # the session of the scenario
    assert [float(cell) for cell in rows[0][1:]] == pytest.approx([15.0] * (len(rows[0]) - 1))


def test_agreement_and_residuals_tables(pictures: dict[str, Picture]) -> None:
    picture = pictures["agreement"]
    good, wild = (next(one for one in _axes(picture).lines if one.get_marker() == mark) for mark in ("o", "x"))
    drawn = sorted(map(tuple, np.concatenate([good.get_xydata(), wild.get_xydata()])[:, ::-1]))
    table = sorted(zip(_column(picture, "measured"), _column(picture, "fitted"), strict=True))
    _assert_close(drawn, table, 0.0051)  # type: ignore[arg-type]
    named = [row[0] for row in picture.twin.rows if row[-1] == "outlier"]
    assert "6" in named
    assert len(wild.get_xydata()) == len(named)
    left = pictures["residuals"]
    marks = [one for one in _axes(left).lines if one.get_marker() in ("o", "x")]
    drawn = sorted(map(tuple, np.concatenate([one.get_xydata() for one in marks])))
    table = sorted(zip(_column(left, "throw"), _column(left, "measured above fitted"), strict=True))
    _assert_close(drawn, table, 0.0051)  # type: ignore[arg-type]


def test_parameter_table(pictures: dict[str, Picture]) -> None:
    picture = pictures["told"]
    spans = [one.get_xdata() for one in _axes(picture).lines if one.get_linewidth() == 3.5]
    assert len(spans) == len(picture.twin.rows)
    heads = [column.head for column in picture.twin.columns]
    for row, drawn in zip(picture.twin.rows, spans, strict=True):
        before, spread = (float(part) for part in row[heads.index("before")].split(" ± "))
        ends = [float(part) for part in row[heads.index("95 %")].split(" to ")]
        _assert_close(before + spread * np.array(drawn), ends, 0.12 * spread)
