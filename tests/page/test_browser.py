"""The page in a browser: three widths, light and dark, and printed on A4."""

from __future__ import annotations

import io
from collections.abc import Iterator
from math import floor, tau
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.page import reports
from tests.page.browser import Tab, browser

WIDTHS = (390, 768, 1440)
MAX_SHEETS = 4
"""Largest number of A4 sheets of the printed page."""
OVERFLOWING = """[...document.querySelectorAll('body *')].filter(e => !e.closest('.frame, svg')
  && e.getBoundingClientRect().right > innerWidth + 0.5).map(e => e.tagName + '#' + e.id)"""
VISIBLE = """['#verdict', '#card'].map(s => { const e = document.querySelector(s), b = e.getBoundingClientRect();
  return e.checkVisibility() && b.left >= 0 && b.right <= innerWidth && b.height > 50 })"""
CELLS = """[...document.querySelectorAll('#card tbody td.main')].every(e => { const b = e.getBoundingClientRect();
  return e.checkVisibility() && b.width > 0 && b.left >= 0 && b.right <= innerWidth })"""
CLIPPED = (
    """[...document.querySelectorAll('#card td, #card th')].filter(e => e.scrollWidth > e.clientWidth + 1).length"""
)


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    """Return one browser tab for all tests."""
    with browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_page_fits_the_window_without_errors_or_requests(tab: Tab, width: int, scheme: str) -> None:
    path = reports.page()
    tab.open(path, width, scheme=scheme)
    assert tab.run("document.documentElement.scrollWidth") <= width
    assert tab.run(OVERFLOWING) == []
    assert tab.run(VISIBLE) == [True, True]
    assert tab.run(CELLS) is True
    assert tab.run(CLIPPED) == 0
    assert tab.console_messages() == []
    assert tab.requests() == [path.as_uri()]
    assert not [event for event in tab.events if event.get("method") == "Page.javascriptDialogOpening"]


def test_dark_scheme_has_a_dark_background(tab: Tab) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        tab.open(reports.page(), 1440, scheme=scheme)
        colour = tab.run("getComputedStyle(document.body).backgroundColor")
        grounds.append(sum(int(part) for part in colour.removeprefix("rgb(").removesuffix(")").split(",")))
    assert grounds[0] > 600
    assert grounds[1] < 150


def test_figure_colours_follow_the_scheme(tab: Tab) -> None:
    inks = []
    for scheme in ("light", "dark"):
        tab.open(reports.page(), 1440, scheme=scheme)
        inks.append(tab.run("getComputedStyle(document.querySelector('#figure-ladder svg text')).fill"))
    assert inks[0] != inks[1]


def test_first_printed_sheet_has_verdict_and_card(tab: Tab) -> None:
    tab.open(reports.page(), 1440)
    first, *others = [" ".join(sheet.extract_text().split()) for sheet in PdfReader(io.BytesIO(tab.pdf())).pages]
    best = reports.with_throws().plan.best
    assert best is not None
    assert "Settings card" in first
    # Speeds to set are rounded down.
    assert all(f"{floor(u / 0.040 * 60 / tau)}" in first for u in best.wheel_speed)
    assert "nobody ahead" in first
    assert reports.with_throws().plan.verdict[:40] in first
    assert 1 <= len(others) < MAX_SHEETS
    assert not any("Settings card" in sheet for sheet in others)
    # No sheet ends with a heading.
    headings = tab.run("[...document.querySelectorAll('h2')].map(e => e.textContent.trim())")
    assert len(headings) > 5
    assert not any(sheet.endswith(heading) for sheet in (first, *others) for heading in headings)


def test_no_sheet_ends_with_the_heading_of_a_section_in_columns(tab: Tab) -> None:
    tab.open(reports.page(), 1440)
    tab.run("""(() => { const e = document.createElement('div'); e.id = 'spacer';
      const limits = document.getElementById('limits'); limits.parentNode.insertBefore(e, limits); })()""")
    heading = tab.run("document.querySelector('#limits h2').textContent.trim()")
    for height in range(0, 264, 66):
        tab.run(f"document.getElementById('spacer').style.height = '{height}mm'")
        sheets = [" ".join(sheet.extract_text().split()) for sheet in PdfReader(io.BytesIO(tab.pdf())).pages]
        assert sum(heading in sheet for sheet in sheets) == 1
        assert not any(sheet.endswith(heading) for sheet in sheets), height


def test_page_is_complete_without_scripts(tab: Tab) -> None:
    printed = []
    for disabled in (False, True):
        tab.ask("Emulation.setScriptExecutionDisabled", value=disabled)
        tab.open(reports.page(), 1440)
        printed.append([sheet.extract_text() for sheet in PdfReader(io.BytesIO(tab.pdf())).pages])
    tab.ask("Emulation.setScriptExecutionDisabled", value=False)
    assert printed[0] == printed[1]
    assert "Settings card" in printed[1][0]


def test_page_of_an_infeasible_goal_fits_the_window(tab: Tab, tmp_path: Path) -> None:
    path = tmp_path / "none.html"
    reports.infeasible().save(path)
    tab.open(path, 390)
    assert tab.run("document.documentElement.scrollWidth") <= 390
    assert tab.run(OVERFLOWING) == []
    assert tab.console_messages() == []
