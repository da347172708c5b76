"""The ladder says which limits its designs break."""

from __future__ import annotations

import stager

SEED_BALL = stager.load("configs/seed_ball.toml").replace({"limits.stages": 2})


def test_verdict_and_ladder_say_what_is_broken_where_nothing_fits() -> None:
    found = SEED_BALL.replace({"limits.exit_energy": "1e-3 J"}).plan(draws=0)
    assert found.missed is not None
    assert found.verdict == found.missed.reason
    assert [row["broken"] for row in found.document()["ladder"]] == [["exit_energy"]] * 3
    screen = found.answer().screen
    assert screen is not None
    table = next(item for item in screen.tables if item.title == "Ladder")
    assert table.columns[-1].head == "breaks"
    assert {row[-1] for row in table.rows} == {"exit energy"}


def test_ladder_has_no_column_of_broken_limits_where_all_designs_fit() -> None:
    screen = SEED_BALL.plan(draws=0).answer().screen
    assert screen is not None
    table = next(item for item in screen.tables if item.title == "Ladder")
    assert "breaks" not in [column.head for column in table.columns]
