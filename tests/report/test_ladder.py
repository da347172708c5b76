"""The ladder says which limits its designs break."""

from __future__ import annotations

import pytest

import stager
from stager.optimise.records import Interval, Rung
from stager.report.plan import ladder_rows, ladder_table
from tests.cli.run import stager as stager_command

SEED_BALL = stager.load("configs/seed_ball.toml").replace({"limits.stages": 2})


def test_verdict_and_ladder_say_what_is_broken_where_nothing_fits() -> None:
    found = SEED_BALL.replace({"limits.exit_energy": "1e-3 J"}).plan(draws=0)
    assert found.missed is not None
    assert found.verdict == found.missed.reason
    assert [row["broken"] for row in found.document()["ladder"]] == [["exit_energy"]] * 3
    screen = found.answer().screen
    assert screen is not None
    table = next(item for item in screen.tables if item.title == "Ladder")
    assert table.columns[-1].head == "note"
    assert {row[-1] for row in table.rows} == {"breaks exit energy"}


def test_no_cell_is_cut_short_at_eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    wanted = ("--draws", "20", "--set", "limits.exit_energy=1e-3 J", "--set", "limits.stages=2")
    ran = stager_command("worth", "configs/seed_ball.toml", *wanted)
    assert "breaks" in ran.out
    assert "…" not in ran.out


def test_row_of_fewer_stages_says_which_limit_more_stages_break() -> None:
    rows = ladder_rows((Rung(stages=2, exit_speed=Interval(nominal=5.0), broken=("settled_loss",)),))
    assert ladder_table(rows).rows[0][-1] == "none within settled loss"


def test_ladder_has_no_column_of_broken_limits_where_all_designs_fit() -> None:
    screen = SEED_BALL.plan(draws=0).answer().screen
    assert screen is not None
    table = next(item for item in screen.tables if item.title == "Ladder")
    assert "note" not in [column.head for column in table.columns]
