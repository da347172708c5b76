"""The page as HTML: well formed, self-contained, escaped, reproducible, small."""

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

import stager
from stager.api.documents import Report
from stager.errors import printable
from stager.model.launcher import Outlet
from stager.report.page import page as render
from stager.report.page.content import view
from tests.bench.terminal import FEW_DRAWS
from tests.cli.run import ROOT
from tests.cli.run import stager as run
from tests.page import reports
from tests.page.html_tree import everything, read
from tests.sharing import few_draws

MAX_BYTES = 600_000
MANY_STAGES = 12
THROWN = "wheel_1 [m/s],exit_speed [m/s]\n6,5.3\n10,8.7\n12,10.3\n14,11.9\n16,11.6\n"
NETWORK = re.compile(r"https?://(?!www\.w3\.org/)|@import|url\((?!#)")
REPORTS = {
    "without throws": reports.without_throws, "with throws": reports.with_throws, "infeasible": reports.infeasible,
}  # fmt: skip


@pytest.fixture(params=REPORTS)
def text(request: pytest.FixtureRequest) -> str:
    """Return the page of each report."""
    return reports.html(REPORTS[request.param])


def test_elements_are_closed_and_ids_unique(text: str) -> None:
    ids = [element.attributes["id"] for element in everything(read(text)) if "id" in element.attributes]
    assert len(ids) == len(set(ids))


def test_page_is_self_contained(text: str) -> None:
    elements = everything(read(text))
    assert not {"img", "iframe", "object", "b", "i"} & {element.name for element in elements}
    assert not NETWORK.search(text)
    links = [element.attributes.get(name, "") for element in elements for name in ("src", "href", "xlink:href")]
    assert all(link == "" or link.startswith(("#", "data:,")) for link in links)
    assert not [name for element in elements for name in element.attributes if name.startswith("on")]


def test_content_policy_allows_only_its_own_script(text: str) -> None:
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


def test_page_size_is_limited(text: str) -> None:
    assert len(text.encode()) < MAX_BYTES


def test_page_size_is_limited_with_many_stages() -> None:
    data = reports.with_throws().data
    curves = tuple(
        replace(data.curves[-1], sweep=replace(data.curves[-1].sweep, stage=k + 1)) for k in range(MANY_STAGES)
    )
    assert len(render(replace(data, curves=curves)).encode()) < MAX_BYTES


def test_names_are_escaped() -> None:
    tree = read(reports.html(reports.with_throws))
    assert tree.all("h1")[0].text == printable(reports.TITLE)
    assert tree.all("title")[0].text.startswith(printable(reports.TITLE))
    footer = tree.all("footer")[0].text
    assert reports.FILE in footer
    assert reports.throws().name in footer
    measured = next(section for section in tree.all("section") if section.attributes.get("id") == "measured")
    assert reports.BUILD in measured.text


def test_page_begins_with_verdict_then_card() -> None:
    report, tree = reports.without_throws(), read(reports.html(reports.without_throws))
    header = tree.all("header")[0]
    assert report.plan.verdict in header.text
    assert report.plan.best is not None
    assert f"{report.plan.best.exit_speed:.2f} m/s" in header.all("dl")[0].text
    order = [element.attributes.get("id") for element in everything(tree) if element.name in ("header", "section")]
    assert order[:2] == ["verdict", "card"]


def facts_of(report: Report) -> str:
    """Return the facts at the head of the page."""
    return read(report.html()).all("header")[0].all("dl")[0].text


def test_page_tells_no_bound_where_there_is_none() -> None:
    # Without a theorem for a stage, the speed of the bound is what limits on the throw allow.
    report = reports.without_throws()
    plan, best = report.plan, report.plan.best
    assert best is not None
    assert plan.bound is not None
    assert "Upper bound" in facts_of(report)
    assert "Possible further gain" in facts_of(report)
    bare = replace(plan.bound, missing="rods in two nips", cap=2 * best.exit_speed)
    shown = facts_of(Report(replace(report.data, plan=replace(plan, bound=bare))))
    assert "Upper bound" not in shown
    assert "Possible further gain" not in shown
    # A plan at that speed is the fastest one, whatever a bound would say.
    at_limit = replace(bare, cap=best.exit_speed)
    shown = facts_of(Report(replace(report.data, plan=replace(plan, bound=at_limit))))
    assert f"{best.exit_speed:.2f} m/s" in shown.split("Upper bound")[1]


def test_bound_on_the_page_is_behind_the_outlet_as_the_exit_speed_is() -> None:
    report = reports.without_throws()
    plan, best = report.plan, report.plan.best
    assert best is not None
    assert plan.bound is not None
    machine = replace(best.design.launcher, outlet=Outlet(loss=0.5))
    there = replace(plan, best=replace(best, design=replace(best.design, launcher=machine)))
    shown = facts_of(Report(replace(report.data, plan=there)))
    # Energies: ½m(v² − v_out²) is the loss.
    behind = (plan.bound.speed**2 - 2 * 0.5 / 0.018) ** 0.5
    assert f"{behind:.2f} m/s" in shown.split("Upper bound")[1]


def test_card_lists_every_wheel() -> None:
    report = reports.without_throws()
    best = report.plan.best
    assert best is not None
    assert best.throttle is not None
    tree = read(reports.html(reports.without_throws))
    card = next(one for one in tree.all("section") if one.attributes.get("id") == "card")
    rows = card.all("table")[0].rows()
    assert [row[0] for row in rows] == [str(k + 1) for k in range(best.count)]
    for k, row in enumerate(rows):
        u, limit = best.wheel_speed[k], best.grip_limit[k]
        turns = u / 0.040 * 60 / 6.283185307179586  # radius of the scenario's wheels
        wanted = [u, turns, 100 * best.throttle[k], 100 * (1 - u / limit)]
        assert [float(cell) for cell in row[2:6]] == pytest.approx(wanted, abs=0.51, rel=1e-3)


def test_infeasible_page_gives_the_reason_and_no_card() -> None:
    report, tree = reports.infeasible(), read(reports.html(reports.infeasible))
    assert report.plan.best is None
    assert report.plan.missed is not None
    assert report.plan.missed.reason in tree.text
    assert "card" not in {element.attributes.get("id") for element in everything(tree)}


def test_every_figure_has_a_description_and_a_table() -> None:
    figures = read(reports.html(reports.with_throws)).all("figure")
    assert len(figures) == len(reports.with_throws().pictures())
    for figure in figures:
        (drawing,) = [one for one in figure.all("svg") if one.attributes.get("role") == "img"]
        assert len(drawing.attributes["aria-label"]) > 40
        assert figure.all("figcaption")[0].text
        assert figure.all("details")[0].all("table")[0].rows()


def test_inputs_are_listed_as_written_and_in_si_units() -> None:
    tree = read(reports.html(reports.without_throws))
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


def test_page_is_identical_from_another_process(tmp_path: Path) -> None:
    table, here, again = (tmp_path / name for name in ("throws.csv", "here.html", "again.html"))
    table.write_text(THROWN, encoding="utf-8")
    one_stage = str(reports.ROOT / "configs" / "streamer.toml"), str(table), "--set", "limits.stages=1", "--quiet"
    with few_draws():
        assert run("report", *one_stage, "-o", str(here)).status == 0
    arguments = ["report", *one_stage, "-o", str(again)]
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", FEW_DRAWS, *arguments], capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONHASHSEED": "7", "LC_ALL": "C", "TZ": "Asia/Tokyo"}, cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert again.read_bytes() == here.read_bytes()


def test_throws_that_jam_at_the_rate_have_no_speed() -> None:
    weak = {
        "stage.drive.governed": True, "stage.drive.current_limit": "1.5 A", "feed.rate": "20 /s", "limits.stages": 1,
        "stage.wheel.inertia": "1.5e-5 kg m^2",
    }  # fmt: skip
    loaded = stager.load(ROOT / "configs" / "seed_ball.toml", weak)
    found = view(loaded.report(plan=loaded.plan(draws=0)).data)
    assert {fact.name: fact.value for fact in found.facts}["At 20.0 throws/s"] == "jams"
    assert found.rate.lead == ""


def test_page_says_how_little_throws_tell_of_parameters_that_are_not_pinned_down() -> None:
    data = reports.with_throws().data
    assert data.learned is not None
    learned, fit = data.learned, data.learned.fit
    law, posterior = fit.posteriors[fit.law]
    for told, trusted, said in (
        (0.39, True, " parameters are not pinned down by these throws: they removed less than 40 % of the doubt."),
        (0.41, True, ""),
        # Without reliable intervals, which the page says, none counts as pinned down, whatever the throws tell.
        (0.9, False, ""),
    ):
        alike = tuple(replace(one, told=told, identified=trusted and told > 0.4) for one in fit.parameters)
        posteriors = {**fit.posteriors, fit.law: (law, replace(posterior, trusted=trusted))}
        other = replace(learned, fit=replace(fit, parameters=alike, posteriors=posteriors))
        assert view(replace(data, learned=other)).measured.more == (said and f"{len(fit.parameters)}{said}")
