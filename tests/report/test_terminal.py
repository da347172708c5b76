"""Printed lines have no trailing blanks: wrapped text, tables and colour; a table without rows takes none."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from stager.report.answer import Column, Screen, Table
from stager.report.terminal import render_headline, render_screen

TABLE = Table(
    "Limits", (Column("limit", words=True), Column("verdict", words=True)), (("heat", "kept"), ("a", "BROKEN"))
)
SCREEN = Screen("a headline that is longer than the line is", (TABLE,), ("", "note"))


@pytest.mark.parametrize("colour", [False, True])
def test_lines_have_no_trailing_blanks(colour: bool) -> None:
    out = io.StringIO()
    console = Console(file=out, width=20, force_terminal=colour, color_system="standard" if colour else None)
    console.print(render_headline(SCREEN))
    console.print(render_screen(SCREEN))
    lines = out.getvalue().replace("\x1b[0m", "").split("\n")
    assert [line for line in lines if line != line.rstrip()] == []
    if not colour:
        assert lines[:3] == lines[3:6] == ["a headline that is", "longer than the line", "is"]
        assert lines[6:] == [
            "",
            "Limits",
            "limit  verdict",
            "──────────────",
            "heat   kept",
            "a      BROKEN",
            "",
            "",
            "note",
            "",
        ]


@pytest.mark.parametrize("full", [False, True])
def test_a_table_without_rows_takes_no_line(full: bool) -> None:
    bare = Table("Prices", TABLE.columns, ())
    assert Screen("headline", (bare, TABLE), more_tables=(bare,)).all_tables(full=full) == [TABLE]
