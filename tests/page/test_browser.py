"""The page in a real browser: narrow, middling and wide, light and dark, and on paper."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.page import making
from tests.page.browser import Tab, browser

WIDTHS = (390, 768, 1440)
MOST_SHEETS = 4
"""Sheets of A4 on which the page is printed."""
OUTSIDE = """[...document.querySelectorAll('body *')].filter(e => !e.closest('.frame, svg')
  && e.getBoundingClientRect().right > innerWidth + 0.5).map(e => e.tagName + '#' + e.id)"""
SHOWN = """['#verdict', '#card'].map(s => { const e = document.querySelector(s), b = e.getBoundingClientRect();
  return e.checkVisibility() && b.left >= 0 && b.right <= innerWidth && b.height > 50 })"""
CELLS = """[...document.querySelectorAll('#card tbody td.main')].every(e => { const b = e.getBoundingClientRect();
  return e.checkVisibility() && b.width > 0 && b.left >= 0 && b.right <= innerWidth })"""
CLIPPED = (
    """[...document.querySelectorAll('#card td, #card th')].filter(e => e.scrollWidth > e.clientWidth + 1).length"""
)


@pytest.fixture(scope="module")
def tab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    """One browser for all."""
    with browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_it_fits_and_is_quiet(tab: Tab, width: int, scheme: str) -> None:
    path = making.page()
    tab.open(path, width, scheme=scheme)
    assert tab.run("document.documentElement.scrollWidth") <= width
    assert tab.run(OUTSIDE) == []
    assert tab.run(SHOWN) == [True, True]
    assert tab.run(CELLS) is True
    assert tab.run(CLIPPED) == 0
    assert tab.complaints() == []
    assert tab.requests() == [path.as_uri()]
    assert not [event for event in tab.events if event.get("method") == "Page.javascriptDialogOpening"]


def test_dark_is_dark(tab: Tab) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        tab.open(making.page(), 1440, scheme=scheme)
        colour = tab.run("getComputedStyle(document.body).backgroundColor")
        grounds.append(sum(int(part) for part in colour.removeprefix("rgb(").removesuffix(")").split(",")))
    assert grounds[0] > 600
    assert grounds[1] < 150


def test_figures_follow_the_scheme(tab: Tab) -> None:
    inks = []
    for scheme in ("light", "dark"):
        tab.open(making.page(), 1440, scheme=scheme)
        inks.append(tab.run("getComputedStyle(document.querySelector('#figure-ladder svg text')).fill"))
    assert inks[0] != inks[1]


def test_the_first_sheet_holds_verdict_and_card(tab: Tab) -> None:
    tab.open(making.page(), 1440)
    first, *others = [" ".join(sheet.extract_text().split()) for sheet in PdfReader(io.BytesIO(tab.pdf())).pages]
    best = making.told().plan.best
    assert best is not None
    assert "Settings card" in first
    assert all(f"{u / 0.040 * 60 / 6.283185307179586:.0f}" in first for u in best.wheel_speed)
    assert "nobody ahead" in first
    assert making.told().plan.verdict[:40] in first
    assert 1 <= len(others) < MOST_SHEETS
    assert not any("Settings card" in sheet for sheet in others)
    # No heading is left alone at the end of a sheet.
    headings = tab.run("[...document.querySelectorAll('h2')].map(e => e.textContent.trim())")
    assert len(headings) > 5
    assert not any(sheet.endswith(heading) for sheet in (first, *others) for heading in headings)


def test_without_script_nothing_is_missing(tab: Tab) -> None:
    tab.ask("Emulation.setScriptExecutionDisabled", value=True)
    tab.open(making.page(), 1440)
    text = tab.ask("DOM.getDocument", depth=0)
    assert text["root"]["nodeName"] == "#document"
    sheet = PdfReader(io.BytesIO(tab.pdf())).pages[0].extract_text()
    tab.ask("Emulation.setScriptExecutionDisabled", value=False)
    assert "Settings card" in sheet


def test_a_page_without_a_plan_fits_too(tab: Tab, tmp_path: Path) -> None:
    path = tmp_path / "none.html"
    making.nothing().save(path)
    tab.open(path, 390)
    assert tab.run("document.documentElement.scrollWidth") <= 390
    assert tab.run(OUTSIDE) == []
    assert tab.complaints() == []
