"""`stager check --settings`: a table of settings judged in one run."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

import stager as package
from stager.constraints import not_judged
from stager.optimise import grip_limits, judge
from tests.cli.run import ROOT, stager

CONFIG = ROOT / "configs" / "seed_ball.toml"
ROWS = ((2800, 3500), (2900, None), (2900, 4100), (9000, 9000), (2500, 3000), (40, 40))
STEADY = {"limits.winding_temperature": "50 degC", "limits.settled_loss": 0.05, "limits.peak_power": "1 kW"}


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "settings.csv"
    rows = "".join(f"{first},{'' if second is None else second},row {k}\n" for k, (first, second) in enumerate(ROWS))
    path.write_text(f"# a comment\nwheel_1 [rpm],wheel_2 [rpm],note\n{rows}", encoding="utf-8")
    return path


@pytest.mark.parametrize("changes", [{}, STEADY])
def test_each_row_agrees_with_a_single_check(table: Path, changes: dict[str, object]) -> None:
    loaded = package.load(CONFIG).replace(changes)
    rows = loaded.check_settings(table).to_rows()
    assert len(rows) == len(ROWS)
    for row, rpm in zip(rows, ROWS, strict=True):
        alone = loaded.check(*(f"{one} rpm" for one in rpm if one is not None))
        assert row["exit_speed_m_s"] == pytest.approx(float(alone.design.throw.exit_speed), rel=1e-4)
        unknown = {one.name for one in not_judged(alone.design)}
        judged = [one for one in alone.verdicts if one.name not in unknown]
        broken = bool(alone.design.throw.jammed) or any(not one.satisfied for one in judged)
        assert row["kept"] == ("no" if broken else "not judged" if unknown else "yes")
        if not alone.design.throw.jammed:
            least = min(judged, key=lambda one: float(one.slack))
            assert (row["limit"], row["slack"]) == (least.name, pytest.approx(float(least.slack), rel=1e-3, abs=1e-6))


def test_results_add_four_columns_to_the_table(table: Path, tmp_path: Path) -> None:
    results = tmp_path / "results.csv"
    ran = stager("check", str(CONFIG), "--settings", str(table), "-o", str(results))
    assert ran.status == 0, ran.err
    lines = [line for line in results.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert list(rows[0]) == ["wheel_1 [rpm]", "wheel_2 [rpm]", "note", "exit_speed [m/s]", "kept", "slack", "limit"]
    written = [(row["wheel_1 [rpm]"], row["note"]) for row in rows]
    assert written == [(str(first), f"row {k}") for k, (first, _) in enumerate(ROWS)]
    assert rows[3]["kept"] == "no"
    assert (rows[5]["kept"], rows[5]["limit"], float(rows[5]["exit_speed [m/s]"])) == ("no", "jam", 0.0)
    # The written table can be judged again; its exit speeds are then computed anew.
    again = stager("check", str(CONFIG), "--settings", str(results), "--json")
    document = json.loads(again.out)
    assert [row["kept"] for row in document["settings"]] == [row["kept"] for row in rows]
    assert sum(document["counts"].values()) == len(ROWS)


def test_status_is_one_if_no_setting_keeps_the_limits(tmp_path: Path) -> None:
    table = tmp_path / "fast.csv"
    table.write_text("wheel_1 [rpm]\n9000\n", encoding="utf-8")
    ran = stager("check", str(CONFIG), "--settings", str(table))
    assert ran.status == 1
    assert ran.out.startswith("1 setting: 1 breaks a limit or jams.")


@pytest.mark.parametrize(
    ("rows", "where", "message"),
    [
        ("wheel_1 [rpm]\n3000\nx\n", ":3: wheel_1 [rpm]", "is not a number"),
        ("wheel_1 [rpm],wheel_2 [rpm]\n3000,3000\n,3000\n", ":3", "leaves a stage out"),
        ("exit_speed [m/s]\n3\n", ":1", "no column of wheel speeds"),
        ("wheel_1 [rpm]\n", "", "holds no setting"),
        ("wheel_1 [m/s]\n99999\n", ":2: wheel_1 [m/s]", "must be 0 to"),
    ],
)
def test_error_in_the_table_names_file_and_line(rows: str, where: str, message: str, tmp_path: Path) -> None:
    table, results = tmp_path / "settings.csv", tmp_path / "results.csv"
    table.write_text(rows, encoding="utf-8")
    ran = stager("check", str(CONFIG), "--settings", str(table), "-o", str(results))
    assert ran.status == 2
    assert f"{table}{where}" in ran.err
    assert message in ran.err
    assert not results.exists()


def test_conflicting_options_and_overwriting_the_input_are_refused(table: Path) -> None:
    before = table.read_bytes()
    for arguments, message in (
        (("--settings", str(table), "-o", str(table)), "would be replaced"),
        (("--settings", str(table), "--speed", "12"), "both give the wheel speeds"),
        (("-o", "results.csv"), "--settings gives no table"),
    ):
        ran = stager("check", str(CONFIG), *arguments)
        assert ran.status == 2
        assert message in ran.err
    assert table.read_bytes() == before


def test_many_settings_have_the_grip_limits_of_few() -> None:
    loaded = package.load(CONFIG)
    wheels = np.sort(np.random.default_rng(3).uniform(8.0, 26.0, (70, 4)), axis=1)
    assert wheels.size > grip_limits.TABLED
    many = judge.judge_settings(loaded.scenario, wheels)
    few = [judge.judge_settings(loaded.scenario, row[None]) for row in wheels]
    assert [name for one in few for name in one.limit] == list(many.limit)
    assert (many.limit == "grip_margin").sum() > 20
    assert many.slack == pytest.approx(np.concatenate([one.slack for one in few]), rel=0, abs=2e-3)
