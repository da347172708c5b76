"""Results as text, as HTML for notebooks and as plain values."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import stager
from stager.api.design_results import PlanResult
from stager.api.results import Shown
from tests.cli.run import TEMPLATE
from tests.cli.run import stager as run
from tests.sharing import few_draws

FEW_UNKNOWNS = {
    "limits.stages": 2, "contact.stiffness": "40 kN/m", "contact.rebound": 0.75, "contact.creep": "0.5 m/s",
    "outlet.loss": "0.02 J", "stage.wheel.radius": "40 mm", "stage.wheel.inertia": "4e-5 kg m^2",
    "feed.speed": "1.2 m/s", "contact.friction.fade_speed": "9 m/s",
}  # fmt: skip
"""Two stages, and few parameters to fit."""
LAUNCHER = stager.load(TEMPLATE).replace(FEW_UNKNOWNS)
ROWS = "1500,5.9\n2000,7.8\n2600,10.2\n3200,12.6\n3800,14.6\n4100,15.6\n4500,15.0\n"
TABLE = "build,wheel_1 [rpm],exit_speed [m/s]\n"


def test_speeds_of_a_plan_throw_what_it_says_with_spin_too() -> None:
    spun = LAUNCHER.replace({"goal.aim": "reach", "goal.exit_speed": "9 m/s", "goal.spin": "20 rev/s"})
    plan = spun.plan(draws=0)
    throw = spun.simulate(*plan.speeds)
    assert throw.exit_speed == pytest.approx(plan.exit_speed, rel=1e-4)
    assert throw.spin == pytest.approx(20 * 2 * math.pi, rel=1e-3)
    plain = LAUNCHER.plan(draws=0)
    assert plain.speeds == plain.wheel_speed.tolist()


def test_speeds_of_a_plan_can_be_computed_with_and_it_stays_as_it_is(tmp_path: Path) -> None:
    plan = LAUNCHER.plan(draws=0)
    known = plan.speeds
    faster = plan.wheel_speed
    faster *= 1.5
    assert plan.speeds == known
    LAUNCHER.save_plan(plan, tmp_path / "planned.toml")
    assert stager.load(tmp_path / "planned.toml").simulate().exit_speed == pytest.approx(plan.exit_speed, rel=1e-4)


class _Tags(HTMLParser):
    """Check that every element is closed; `open` lists the others."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in ("br", "hr", "meta"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def throws(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bench") / "throws.csv"
    rows = "".join(f"{build},{row}\n" for build in "ab" for row in ROWS.splitlines())
    path.write_text(TABLE + rows, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def results(throws: Path) -> dict[str, object]:
    table = LAUNCHER.read_throws(throws)
    with few_draws():
        return {
            "plan": LAUNCHER.plan(draws=40), "throw": LAUNCHER.simulate(10, "3000 rpm"), "jam": LAUNCHER.simulate(0.5),
            "sweep": LAUNCHER.sweep(2, 12), "check": LAUNCHER.check(12), "fit": LAUNCHER.fit(table),
            "next": LAUNCHER.next(table), "compare": LAUNCHER.compare(table, ("a", "b")),
        }  # fmt: skip


def test_what_is_asked_first_is_found_by_guessing(results: dict[str, Any]) -> None:
    plan, throw, check = results["plan"], results["throw"], results["check"]
    assert plan.fits
    assert plan.stages == 2
    turned = plan.rpm / 60 * 2 * np.pi  # [rad/s]
    assert turned * LAUNCHER.scenario.launcher.template.wheel.radius == pytest.approx(plan.wheel_speed)
    assert plan.length == pytest.approx({one.name: one.value for one in plan.limits}["length"])
    assert all(one.satisfied for one in plan.limits)
    again = LAUNCHER.check(*plan.wheel_speed)
    assert (again.exit_speed, again.exit_energy) == pytest.approx((plan.exit_speed, plan.exit_energy), rel=1e-6)
    assert again.exit_energy == pytest.approx(0.5 * 0.018 * LAUNCHER.simulate(*plan.wheel_speed).outlet_speed ** 2)
    assert round(throw.exit_speed, 1) == pytest.approx(throw.exit_speed, abs=0.05)
    assert check.exit_energy == pytest.approx(LAUNCHER.simulate(12).exit_energy)
    assert results["sweep"].grip_limit > 12
    fit = results["fit"]
    assert fit.law == "falling"
    assert set(fit.values) == set(fit.standard_uncertainties)
    assert fit.values["contact.friction.static"] == pytest.approx(0.75, abs=0.3)


def test_limits_that_are_not_judged_are_not_called_kept() -> None:
    # The hub's material is not given, so its burst speed is unknown.
    assert LAUNCHER.check(10, 12).kept is None
    assert LAUNCHER.check(10, 40).kept is False
    hub = {"stage.wheel.material": "aluminium", "stage.wheel.width": "18 mm", "stage.wheel.bore": "5 mm"}
    assert LAUNCHER.replace(hub).check(10, 12).kept is True


def test_a_plan_that_fits_nothing_says_so_by_an_error() -> None:
    none = LAUNCHER.replace({"limits.exit_energy": "1e-3 J", "limits.stages": 1}).plan(draws=0)
    assert not none.fits
    with pytest.raises(stager.NoDesign, match="the limits"):
        _ = none.exit_speed


ALL = ("plan", "throw", "jam", "sweep", "check", "fit", "next", "compare")


@pytest.mark.parametrize("name", ALL)
def test_notebook_html_is_well_formed_and_has_the_headline(name: str, results: dict[str, object]) -> None:
    result: Shown = results[name]  # type: ignore[assignment]
    page = result._repr_html_()
    assert _Tags(page).open == []
    headline = str(result).splitlines()[0].split(".")[0]
    assert headline in re.sub(r"<[^>]*>", "", page)
    assert page.count("<svg") == len(result.pictures())
    assert result.document()["stager_version"] == stager.__version__


def test_the_path_of_a_table_serves_as_its_throws(throws: Path, results: dict[str, Any]) -> None:
    assert LAUNCHER.compare(throws, ("a", "b")).to_rows() == results["compare"].to_rows()
    assert LAUNCHER.compare(str(throws), ("a", "b")).to_rows() == results["compare"].to_rows()
    for call in (LAUNCHER.fit, LAUNCHER.next, LAUNCHER.report, lambda path: LAUNCHER.sweep(1, throws=path)):
        with pytest.raises(stager.InputErrors, match=r"missing\.csv"):
            call(throws.with_name("missing.csv"))


def test_print_gives_the_screen_of_the_command(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("NO_COLOR", "1")
    ran = run("throw", str(TEMPLATE), "--speed", "10", "--full").out
    printed = str(stager.load(TEMPLATE).simulate(10))
    assert [line.rstrip() for line in ran.splitlines()] == printed.splitlines()


@pytest.mark.parametrize("name", ALL)
def test_repr_is_one_line(name: str, results: dict[str, object]) -> None:
    assert len(repr(results[name]).splitlines()) == 1
    assert repr(results[name]).startswith(f"<{type(results[name]).__name__}: ")


def test_launcher_html_shows_its_inputs() -> None:
    page = LAUNCHER.replace({"title": "<b>Wild & bold</b>"})._repr_html_()
    assert "&lt;b&gt;Wild &amp; bold&lt;/b&gt;" in page
    assert _Tags(page).open == []
    assert "18 g ± 0.5 g" in page
    assert repr(LAUNCHER) == "<Loaded: My launcher>"


def test_pictures_are_found_by_name(results: dict[str, object]) -> None:
    plan: PlanResult = results["plan"]  # type: ignore[assignment]
    assert plan.picture().name == "ladder"
    assert plan.picture("barrel").title == "Speed along the barrel"
    with pytest.raises(stager.InputError, match="no picture"):
        plan.picture("portrait")


def test_replaced_values_are_validated_like_a_file() -> None:
    other = LAUNCHER.replace({"projectile.mass": "25 g", "goal.worthwhile": 0.2})
    assert other.scenario.launcher.projectile.mass == pytest.approx(0.025)
    assert other.scenario.goal.worthwhile == 0.2
    assert LAUNCHER.scenario.goal.worthwhile == 0.08
    law = LAUNCHER.replace({"contact.friction": {"law": "constant", "coefficient": 0.5}}).scenario
    assert law.launcher.contact.friction.name == "constant"
    assert other.sha256 != LAUNCHER.sha256
    with pytest.raises(stager.InputErrors, match=r"projectile\.mass"):
        LAUNCHER.replace({"projectile.mass": "25 mm"})
