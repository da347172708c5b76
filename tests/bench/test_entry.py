"""Parsing of throws typed into bench, and the CSV table they are appended to."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import stager
from stager.errors import InputErrors
from stager.fit.table.writer import (
    CUT,
    TableWriter,
    ThrowEntry,
    blank,
    cells,
    entry_of,
    measure,
    open_table,
    parse,
    throttle_for,
)
from stager.report.bench import implausible
from tests.cli.run import TEMPLATE

LAUNCHER = stager.load(TEMPLATE).scenario.launcher


def _book(folder: Path, text: str | None = None, stages: int = 2) -> TableWriter:
    path = folder / "throws.csv"
    path.write_text(blank(stages) if text is None else text, encoding="utf-8")
    with open_table(path, LAUNCHER, stages) as (writer, _):
        return writer


PREVIOUS = ThrowEntry(wheels=((3000.0, None),), exit_speed=11.0)


@pytest.mark.parametrize(
    ("typed", "wheels", "exit_speed", "note"),
    [
        ("3000 11.6", (3000,), 11.6, ""),
        ("3000, 11.6", (3000,), 11.6, ""),
        ("3000,11.6", (3000,), 11.6, ""),
        ("3000\t11,6", (3000,), 11.6, ""),
        ("3000; 4000; 15.2", (3000, 4000), 15.2, ""),
        ("3000 4000 15.2 windy, 2 m to the left", (3000, 4000), 15.2, "windy, 2 m to the left"),
        ("- 4000 9", (None, 4000), 9.0, ""),
        ("3000 jam", (3000,), 0.0, ""),
        ("3000 JAM ball torn", (3000,), 0.0, "ball torn"),
        ("11.7", (3000,), 11.7, ""),
        ("11.7 again", (3000,), 11.7, "again"),
    ],
)
def test_typed_throw_is_parsed(tmp_path: Path, typed: str, wheels: tuple[float], exit_speed: float, note: str) -> None:
    entry = parse(typed, _book(tmp_path), PREVIOUS)
    assert tuple(side_a for side_a, _ in entry.wheels) == wheels
    assert (entry.exit_speed, entry.note) == (exit_speed, note)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("windy", "needs wheel speeds"),
        ("15,5", "can be read two ways"),
        ("1 2 3 4", "add the column wheel_3 [rpm]"),
        ("12:9 8", "needs the column wheel_1b [rpm]"),
        ("- - 9", "has no wheel speed"),
        ("3000 -", "has no exit speed"),
    ],
)
def test_ambiguous_or_incomplete_entry_is_refused_with_its_reason(tmp_path: Path, typed: str, message: str) -> None:
    with pytest.raises(ValueError, match=message.replace("[", r"\[")):
        parse(typed, _book(tmp_path), PREVIOUS)


def test_single_number_without_previous_throw_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="wheel speeds, then"):
        parse("11.6", _book(tmp_path), None)


def test_appended_row_parses_back_to_the_same_entry(tmp_path: Path) -> None:
    writer = _book(tmp_path, "wheel_1 [m/s];wheel_1b [m/s];exit_speed [km/h];build;note\n12,5;11;40,5;a;\n")
    entry = parse("13.25:12 45 so, so", writer, None)
    writer.append(cells(entry, writer, 2, {"build": "b"}))
    assert writer.path.read_text(encoding="utf-8").splitlines()[-1] == "13,25;12;45;b;so, so"
    throws = writer.throws()
    assert entry_of(throws, writer) == entry
    # 45 km/h is 12.5 m/s by definition of the hour.
    assert throws.exit_speed[-1] == pytest.approx(12.5)
    assert throws.build.tolist() == ["a", "b"]
    assert np.array_equal(throws.surface_speed(LAUNCHER, [0], 1)[:, 0], [11.0, 12.0])


@pytest.mark.parametrize("row", [["1", "", "-5", "", "9", "", ""], ["1", "", "", "", "9", "", ""]])
def test_invalid_row_leaves_the_table_unchanged(tmp_path: Path, row: list[str]) -> None:
    writer = _book(tmp_path)
    with pytest.raises(InputErrors):
        writer.append(row)
    assert writer.path.read_text(encoding="utf-8") == blank(2)


def test_undo_removes_the_last_throw_only(tmp_path: Path) -> None:
    text = "# mine\nwheel_1 [rpm],exit_speed [m/s]\n1000,4\n# a pause\n1100,5\n# the end\n"
    writer = _book(tmp_path, text)
    assert writer.undo() == "1100,5"
    assert writer.path.read_text(encoding="utf-8") == text.replace("1100,5\n", "")
    assert writer.undo() == "1000,4"
    assert writer.undo() is None


def test_truncated_last_line_is_commented_out(tmp_path: Path) -> None:
    path = tmp_path / "throws.csv"
    path.write_text("wheel_1 [rpm],exit_speed [m/s],note\n1000,4,\n1100,5", encoding="utf-8")
    with open_table(path, LAUNCHER, 1) as (writer, cut):
        pass
    assert cut == "1100,5"
    assert len(writer.throws()) == 1
    assert path.read_text(encoding="utf-8").endswith(f"1000,4,\n{CUT}1100,5\n")


def test_complete_last_line_without_newline_is_kept(tmp_path: Path) -> None:
    writer = _book(tmp_path, "wheel_1 [rpm],exit_speed [m/s]\n1000,4")
    writer.append(["1100", "5"])
    assert writer.path.read_text(encoding="utf-8") == "wheel_1 [rpm],exit_speed [m/s]\n1000,4\n1100,5\n"


def test_throttle_for_a_surface_speed_inverts_the_steady_speed(tmp_path: Path) -> None:
    values = {
        "stage.drive": {"speed_constant": "1400 rpm/V", "resistance": "60 mohm", "no_load_current": "1.1 A"},
        "supply": {"voltage": "14.8 V", "resistance": "30 mohm"},
    }
    launcher = stager.load(TEMPLATE).replace(values).scenario.launcher
    path = tmp_path / "throws.csv"
    path.write_text("throttle_1 [%],exit_speed [m/s]\n25,9\n", encoding="utf-8")
    with open_table(path, launcher, 1) as (writer, _):
        pass
    settled = float(writer.throws().surface_speed(launcher, [0], 0)[0, 0])
    head = writer.heads[0]
    assert throttle_for(settled, head, launcher) == pytest.approx(25, abs=0.01)
    assert throttle_for(1000.0, head, launcher) is None
    assert throttle_for(settled, writer.heads[1], launcher) is None


def test_undo_with_a_number_removes_that_throw(tmp_path: Path) -> None:
    text = "# mine\nthrow,wheel_1 [rpm],exit_speed [m/s]\n1,1000,4\n2,1100,5\n# a pause\n3,1200,6\n"
    writer = _book(tmp_path, text)
    assert writer.undo(9) is None
    assert writer.undo(2) == "2,1100,5"
    assert writer.path.read_text(encoding="utf-8") == text.replace("2,1100,5\n", "")
    assert writer.undo(1) == "1,1000,4"
    assert writer.throws().order.tolist() == [3]


@pytest.mark.parametrize(
    ("name", "typed", "cell"),
    [("supply", "12.4", "12.4"), ("supply", "12.4 V", "12.4"), ("supply", "12400mV", "12.4"), ("supply", "", "")],
)
def test_value_with_its_unit_is_converted_to_the_column_unit(tmp_path: Path, name: str, typed: str, cell: str) -> None:
    writer = _book(tmp_path)
    head = next(head for head in writer.heads if head.name == name)
    assert measure(typed, head, writer) == cell


@pytest.mark.parametrize("typed", ["12.4 A", "V", "12.4 V V", "full"])
def test_value_with_a_wrong_unit_is_refused(tmp_path: Path, typed: str) -> None:
    writer = _book(tmp_path)
    head = next(head for head in writer.heads if head.name == "supply")
    with pytest.raises(ValueError, match=r"not a unit of supply|not a number"):
        measure(typed, head, writer)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (["1", "", "3000", "", "11.6", "", ""], ""),
        (["1", "", "3000", "", "12.9", "", ""], ""),  # 12.57 m/s, by tilt and instruments 13.4 m/s at most
        (["1", "", "3000", "", "16.5", "", ""], "more than wheels and tilt allow"),
        (["1", "", "11.6", "", "3000", "", ""], 'Columns swapped? "3000 11.6" could be.'),
        (["1", "", "3000", "90000", "14", "", ""], "beyond its motor's reach"),
    ],
)
def test_physically_impossible_throw_raises_a_warning(tmp_path: Path, row: list[str], message: str) -> None:
    values = {
        "stage.drive": {"speed_constant": "1400 rpm/V", "resistance": "60 mohm", "no_load_current": "1.1 A"},
        "supply": {"voltage": "14.8 V", "resistance": "30 mohm"},
    }
    launcher = stager.load(TEMPLATE).replace(values).scenario.launcher
    path = tmp_path / "throws.csv"
    path.write_text(blank(2), encoding="utf-8")
    with open_table(path, launcher, 2) as (writer, _):
        writer.append(row)
        found = implausible(writer.throws(), writer)
    assert bool(found) is bool(message)
    assert not message or (message in found[0] and found[0].endswith("undo 1 removes it."))
