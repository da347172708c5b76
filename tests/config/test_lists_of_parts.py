"""A part in a list is the part that the same keys describe in the configuration, whatever form the list has."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from stager.config import load
from stager.config.load import read_tree
from stager.config.toml import show_tree
from stager.errors import InputErrors
from tests.broken.corpus import VALID
from tests.config.test_every_key import one_stage

HOMES = {
    "wheel_list": ("stage", "wheel_options"), "drive_list": ("stage", "drive_options"),
    "battery_list": ("supply", "batteries"),
}  # fmt: skip
BATTERY = {
    "name": "4S", "cells": 4, "capacity": "2.2 Ah ± 0.1 Ah", "resistance": "20 mohm", "mass": "210 g", "cost": 31.5,
}  # fmt: skip


def _part(name: str) -> dict[str, Any]:
    """Return a part with every key that a list may have."""
    if name == "battery_list":
        return dict(BATTERY)
    part: dict[str, Any] = one_stage()["stage"][name.removesuffix("_list")]
    return {key: value for key, value in part.items() if not key.endswith("_range")}


def _columns(part: dict[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in part.items():
        if isinstance(value, dict):
            yield from _columns(value, f"{path}{key}.")
        else:
            yield f"{path}{key}", value


def _in_cells(key: str, value: Any) -> tuple[str, str]:
    return key, str(value).lower() if isinstance(value, bool) else str(value)


def _in_heads(key: str, value: Any) -> tuple[str, str]:
    """Return head and cell of a value with its unit in the head."""
    if isinstance(value, bool):
        return key, "yes" if value else "No"
    number, _, unit = str(value).partition(" ± ")[0].partition(" ")
    if not (isinstance(value, str) and number[0].isdigit() and unit):
        return f"{key} [-]" if isinstance(value, float) else key, str(value)
    return f" {key} [ {unit} ] ", str(value).replace(f" {unit}", "")


def _decimal_comma(key: str, value: Any) -> tuple[str, str]:
    head, cell = _in_heads(key, value)
    return head, cell if key == "name" else cell.replace(".", ",")


def _load(folder: Path, name: str, part: dict[str, Any] | None, content: str = "") -> Any:
    table, options = HOMES[name]
    tree = read_tree(folder, VALID)
    if part is not None:
        tree[table][options] = [part]
    if content:
        (folder / "parts.csv").write_text(content, encoding="utf-8")
        tree[table][name] = "parts.csv"
    path = folder / "a.toml"
    path.write_text(show_tree(tree), encoding="utf-8")
    return load(path)


FORMS = {"cells": (_in_cells, ","), "heads": (_in_heads, ","), "comma": (_decimal_comma, ";"), "tab": (_in_heads, "\t")}


def _content(name: str, form: str) -> str:
    write, mark = FORMS[form]
    heads, cells = zip(*(write(*one) for one in _columns(_part(name))), strict=True)
    out = io.StringIO()
    csv.writer(out, delimiter=mark, lineterminator="\n").writerows([heads, cells])
    return out.getvalue()


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", HOMES)
def test_part_of_a_list_is_that_of_the_configuration(name: str, form: str, tmp_path: Path) -> None:
    written, listed = _load(tmp_path, name, _part(name)), _load(tmp_path, name, None, _content(name, form))
    assert written.scenario().launcher == listed.scenario().launcher
    assert [(m.value, m.standard_uncertainty) for m in written.quantities.values()] == [
        (m.value, pytest.approx(m.standard_uncertainty)) for m in listed.quantities.values()
    ]
    assert listed.lists == ("parts.csv",)
    assert written.lists == ()


@pytest.mark.parametrize(
    "word, truth", [("yes", True), ("TRUE", True), ("1", True), ("no", False), ("False", False), ("0", False)]
)
def test_truth_in_a_list_is_a_word_or_a_digit(word: str, truth: bool, tmp_path: Path) -> None:
    rows = f"name,speed_constant [rpm/V],resistance [mohm],governed\na,900,90,{word}\nb,900,90,\n"
    drives = _load(tmp_path, "drive_list", None, rows).scenario().launcher.template.drive_options
    assert [drive.governed for drive in drives] == [truth, False]


def _errors(folder: Path, name: str, rows: str, part: dict[str, Any] | None = None) -> list[tuple[str, str, str]]:
    with pytest.raises(InputErrors) as caught:
        _load(folder, name, part, rows)
    return [(one.where.removeprefix(f"{folder}/"), one.message, one.hint) for one in caught.value.errors]


CELLS = "name,cells,capacity [Ah]\n"
WHEEL_HEADS = "name,radius [mm],width [mm],material,mass [g],cost"
DRIVE_HEADS = "name,speed_constant [rpm/V],resistance [mohm],current_limit [A],mass [g],cost"
BATTERY_HEADS = "name,cells,capacity [Ah],resistance [mohm],mass [g],cost"
NEEDED = "is missing: without `inertia` it takes width and material"
TWICE = "is the name of a part of {} already"
WRONG = {
    "a fraction of a cell": (
        "battery_list", f"{CELLS}x,2.5,3\n",
        [("parts.csv:2: cells", "must be a whole number", "for example cells = 4")],
    ),
    "cells beyond digits": (
        "battery_list", f"{CELLS}x,1234567890,3\n",
        [("parts.csv:2: cells", "must be a whole number", "for example cells = 4")],
    ),
    "too many cells": (
        "battery_list", f"{CELLS}x,123456789,3\n",
        [("parts.csv:2: cells", "must be at most 200 (got 123456789)", "for example cells = 4")],
    ),
    "no cells": (
        "battery_list", f"{CELLS}x,0,3\n",
        [("parts.csv:2: cells", "must be at least 1 (got 0)", "for example cells = 4")],
    ),
    "no table": (
        "battery_list", "# a\n",
        [("parts.csv", "holds no table", f"its first line holds the heads: {BATTERY_HEADS}")],
    ),
    "no name": (
        "wheel_list", "radius [mm]\n3\n",
        [("parts.csv:1", 'has no column "name"', f"parts of a list have names, for example {WHEEL_HEADS}")],
    ),
    "a column without a head": (
        "drive_list", "name,,cost\na,b,3\n",
        [("parts.csv:1: column 2", "a column has no head", f"heads look like {DRIVE_HEADS}")],
    ),
    "a head that ends in a point": (
        "drive_list", "name,heat.,cost\na,b,3\n",
        [("parts.csv:1: heat.", "is not a key of such a part", f"as in {DRIVE_HEADS}")],
    ),
    "a head that begins with a point": (
        "drive_list", "name,.cost\na,b\n",
        [("parts.csv:1: .cost", "is not a key of such a part", f"as in {DRIVE_HEADS}")],
    ),
    "a head of no table": (
        "wheel_list", "name,rim.depth [mm]\na,3\n",
        [("parts.csv:1: rim.depth [mm]", "is not a key of such a part", f"as in {WHEEL_HEADS}")],
    ),
    "a mistyped head within": (
        "wheel_list", "name,tyre.dept [mm]\na,3\n",
        [("parts.csv:1: tyre.dept [mm]", "is not a key of such a part", "did you mean depth?")],
    ),
    "a head that is a table": (
        "wheel_list", "name,tyre\na,3\n",
        [("parts.csv:1: tyre", "is a table", "a column for each of its keys, as tyre.bond_strength")],
    ),
    "a unit of a name": (
        "wheel_list", "name [mm]\na\n", [("parts.csv:1: name [mm]", "has no unit (got mm)", "head it name")]
    ),
    "a unit of a number": (
        "wheel_list", "name,cost [a_long_name_of_a_coin]\na,3\n",
        [
            ("parts.csv:1: cost [a_long_name_of_a_coin]", "has no unit (got a_long_name_of_a_coi)", "head it cost"),
        ],
    ),
    "a unit of another kind": (
        "wheel_list", "name,radius [g]\na,3\n",
        [("parts.csv:1: radius [g]", '"g" does not measure a length', 'cells hold, for example, "38 mm"')],
    ),
    "cells beyond the heads": (
        "wheel_list", "name,radius [mm],material,width [mm]\n\na,30,steel,5,grey\n",
        [
            (
                "parts.csv:3", "has 5 cells under 4 heads",
                'a cell that holds the separator stands in quotes: "grey, wide"',
            ),
        ],
    ),
    "a name twice": (
        "wheel_list", "name,radius [mm],inertia [kg m^2]\na,30,1e-5\nb,30,1e-5\na,30,1e-5\na,30,1e-5\n",
        [("parts.csv:4: name", TWICE.format("line 2"), "another name"),
         ("parts.csv:5: name", TWICE.format("line 2"), "another name")],
    ),
    "no name in a row": (
        "wheel_list", "name,radius [mm],inertia [kg m^2]\n,30,1e-5\nb,30,1e-5\n",
        [("parts.csv:2: name", "is missing", "a name for each part of a list")],
    ),
    "a key that is missing": (
        "wheel_list", "name,radius [mm]\na,30\n",
        [
            ("parts.csv:2: material", NEEDED, 'for example material = "aluminium"'),
            ("parts.csv:2: width", NEEDED, 'for example width = "18 mm"'),
        ],
    ),
    "a long line": (
        "wheel_list", f"name\n{'x' * 1001}\n",
        [("parts.csv:2", "is a line of more than 1000 characters", "shorten it")],
    ),
    "many columns": (
        "wheel_list", "name" + "," * 60 + "\n",
        [("parts.csv:1", "has more than 60 columns", f"heads: {WHEEL_HEADS}")],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_mistake_in_a_list_is_told_at_its_cell(case: str, tmp_path: Path) -> None:
    name, rows, expected = WRONG[case]
    assert sorted(_errors(tmp_path, name, rows)) == expected


def test_name_of_a_part_in_the_configuration_is_taken(tmp_path: Path) -> None:
    part = {"name": "a", "radius": "30 mm", "inertia": "1e-5 kg m^2"}
    rows = "name,radius [mm],inertia [kg m^2]\nb,30,1e-5\na,30,1e-5\n"
    expected = ("parts.csv:3: name", TWICE.format("the configuration"), "another name")
    assert _errors(tmp_path, "wheel_list", rows, part) == [expected]


@pytest.mark.parametrize("own", [0, 3])
def test_list_fills_up_to_100_parts(own: int, tmp_path: Path) -> None:
    part = {"radius": "30 mm", "inertia": "1e-5 kg m^2"}
    tree = read_tree(tmp_path, VALID)
    tree["stage"] |= {"wheel_options": [part] * own, "wheel_list": "parts.csv"}
    path = tmp_path / "a.toml"
    path.write_text(show_tree(tree), encoding="utf-8")
    head = "name,radius [mm],inertia [kg m^2]\n"
    rows = [f"w{number},30,1e-5\n" for number in range(101 - own)]
    (tmp_path / "parts.csv").write_text(head + "".join(rows[:-1]), encoding="utf-8")
    wheels = load(path).scenario().launcher.template.wheel_options
    assert len(wheels) == 100
    assert [wheel.name for wheel in wheels[own:]] == [f"w{number}" for number in range(100 - own)]
    (tmp_path / "parts.csv").write_text(head + "".join(rows), encoding="utf-8")
    with pytest.raises(InputErrors) as caught:
        load(path)
    (error,) = caught.value.errors
    assert error.where == f"{tmp_path}/parts.csv:{102 - own}"
    assert (error.message, error.hint) == (
        "is one part more than the 100 that may be offered",
        "keep those that could do",
    )


def test_longest_line_and_most_columns_are_read(tmp_path: Path) -> None:
    line = "x" * 985 + ",30,1e-5,,,,,,"
    assert len(line) < 1000
    rows = f"name,radius [mm],inertia [kg m^2]\n{line.ljust(1000)}\n"
    (wheel,) = _load(tmp_path, "wheel_list", None, rows).scenario().launcher.template.wheel_options
    assert wheel.name == "x" * 985
