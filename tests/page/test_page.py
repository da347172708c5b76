"""The page as text: whole, alone, escaped, repeatable, light."""

from __future__ import annotations

import base64
import hashlib
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from stager.api.page import Report
from stager.errors import printable
from stager.report.page import page as render
from tests.page import making
from tests.page.reading import everything, read

MOST = 600_000
MANY = 12
NETWORK = re.compile(r"https?://(?!www\.w3\.org/)|@import|url\((?!#)")
REPORTS = {"plain": making.plain, "with throws": making.told, "nothing fits": making.nothing}


@pytest.fixture(params=REPORTS)
def text(request: pytest.FixtureRequest) -> str:
    """Each report's page."""
    report: Report = REPORTS[request.param]()
    return report.html()


def test_every_element_is_closed_and_ids_are_unique(text: str) -> None:
    ids = [element.attributes["id"] for element in everything(read(text)) if "id" in element.attributes]
    assert len(ids) == len(set(ids))


def test_it_needs_nothing_else(text: str) -> None:
    elements = everything(read(text))
    assert not {"img", "iframe", "object", "b", "i"} & {element.name for element in elements}
    assert not NETWORK.search(text)
    links = [element.attributes.get(name, "") for element in elements for name in ("src", "href", "xlink:href")]
    assert all(link == "" or link.startswith(("#", "data:,")) for link in links)
    assert not [name for element in elements for name in element.attributes if name.startswith("on")]


def test_only_the_own_script_may_run(text: str) -> None:
    tree = read(text)
    scripts = [one for one in tree.all("script") if one.attributes.get("type") != "application/json"]
    policy = next(
        one.attributes["content"]
        for one in tree.all("meta")
        if one.attributes.get("http-equiv") == "Content-Security-Policy"
    )
    own = [f"'sha256-{base64.b64encode(hashlib.sha256(one.text.encode()).digest()).decode()}'" for one in scripts]
    allowed = re.findall(r"script-src ([^;]*)", policy)
    assert allowed == own
    assert len(own) <= 1
    assert policy.startswith("default-src 'none'")


def test_it_is_light(text: str) -> None:
    assert len(text.encode()) < MOST


def test_it_stays_light_with_many_stages() -> None:
    data = making.told().data
    curves = tuple(
        replace(data.curves[-1], sweep=replace(data.curves[-1].sweep, stage=k + 1)) for k in range(MANY)
    )
    assert len(render(replace(data, curves=curves)).encode()) < MOST


def test_names_are_shown_as_they_are_written() -> None:
    tree = read(making.told().html())
    assert tree.all("h1")[0].text == printable(making.TITLE)
    assert tree.all("title")[0].text.startswith(printable(making.TITLE))
    footer = tree.all("footer")[0].text
    assert making.FILE in footer
    assert making.throws().name in footer
    measured = next(section for section in tree.all("section") if section.attributes.get("id") == "measured")
    assert making.BUILD in measured.text


def test_verdict_and_numbers_come_first_then_the_card() -> None:
    report = making.plain()
    tree = read(report.html())
    header = tree.all("header")[0]
    assert report.plan.verdict in header.text
    assert report.plan.best is not None
    assert f"{report.plan.best.exit_speed:.2f} m/s" in header.all("dl")[0].text
    order = [element.attributes.get("id") for element in everything(tree) if element.name in ("header", "section")]
    assert order[:2] == ["verdict", "card"]


def test_the_card_has_every_wheel() -> None:
    report = making.plain()
    best = report.plan.best
    assert best is not None
    assert best.throttle is not None
    card = next(one for one in read(report.html()).all("section") if one.attributes.get("id") == "card")
    rows = card.all("table")[0].rows()
    assert [row[0] for row in rows] == [str(k + 1) for k in range(best.count)]
    for k, row in enumerate(rows):
        u, limit = best.wheel_speed[k], best.grip_limit[k]
        turns = u / 0.040 * 60 / 6.283185307179586  # radius of the scenario's wheels
        wanted = [u, turns, 100 * best.throttle[k], 100 * (1 - u / limit)]
        assert [float(cell) for cell in row[2:6]] == pytest.approx(wanted, abs=0.51, rel=1e-3)


def test_a_plan_that_fails_says_why_and_has_no_card() -> None:
    report = making.nothing()
    tree = read(report.html())
    assert report.plan.best is None
    assert report.plan.missed is not None
    assert report.plan.missed.reason in tree.text
    assert "card" not in {element.attributes.get("id") for element in everything(tree)}


def test_every_figure_has_words_and_a_table() -> None:
    figures = read(making.told().html()).all("figure")
    assert len(figures) == len(making.told().pictures())
    for figure in figures:
        (drawing,) = [one for one in figure.all("svg") if one.attributes.get("role") == "img"]
        assert len(drawing.attributes["aria-label"]) > 40
        assert figure.all("figcaption")[0].text
        assert figure.all("details")[0].all("table")[0].rows()


def test_every_input_is_echoed_as_written_and_as_read() -> None:
    tree = read(making.plain().html())
    section = next(one for one in tree.all("section") if one.attributes.get("id") == "inputs")
    rows = {
        f"{table.all('caption')[0].text} {row[0]}": row[1:] for table in section.all("table") for row in table.rows()
    }
    assert rows["[projectile] mass"] == ["18 g ± 0.5 g", "0.018", "0.0005", "kg"]
    assert rows["[contact] friction.static"] == ["0.75 ± 0.08", "0.75", "0.08", ""]
    assert rows["[stage] wheel.tyre.held_by"] == ["lip", "", "", ""]
    assert rows["[contact] friction.fade_exponent"] == ["(default)", "1", "", ""]
    assert rows["[limits] mass"] == ["4 kg", "4", "", "kg"]
    assert rows["[goal] worthwhile"] == ["0.12", "0.12", "", ""]


def test_equal_input_gives_equal_bytes_in_another_process() -> None:
    again = making.folder() / "again.html"
    arguments = ["report", str(making.configuration()), str(making.throws()), "-o", str(again), "--quiet"]
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "stager", *arguments], capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONHASHSEED": "7", "LC_ALL": "C", "TZ": "Asia/Tokyo"}, cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert again.read_bytes() == making.page().read_bytes()
