"""`stager report`, and the figures of `plan --figures`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from stager.api import Loaded
from stager.errors import InputError
from stager.fit.table.throws import Throws
from tests.cli.run import ROOT, stager
from tests.page import reports

pytestmark = pytest.mark.usefixtures("few_draws")
STREAMER = ROOT / "configs" / "streamer.toml"


def test_report_writes_page_document_and_figures(tmp_path: Path) -> None:
    page, figures = tmp_path / "deep" / "page.html", tmp_path / "figures"
    one = ("--set", "limits.stages=1", "--json")
    ran = stager("report", str(STREAMER), *one, "-o", str(page), "--figures", str(figures))
    document = json.loads(ran.out)
    assert (ran.status, ran.err) == (0, "")
    assert document["page"] == str(page)
    assert sorted(document["figures"]) == sorted(map(str, figures.iterdir()))
    assert f"{document['plan']['exit_speed_m_s']:.2f} m/s" in page.read_text(encoding="utf-8")
    assert sorted(path.name for path in page.parent.iterdir()) == ["page.html"]


def test_report_of_one_build_takes_its_throws_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    taken = []

    def report(self: Loaded, throws: Throws, **more: Any) -> None:
        taken.append(throws)
        raise InputError("enough")

    monkeypatch.setattr(Loaded, "report", report)
    config, table = (str(ROOT / "configs" / name) for name in ("seed_ball.toml", "seed_ball_throws.csv"))
    assert stager("report", config, table, "--build", "B", "-o", str(tmp_path / "page.html")).err == "enough\n"
    (throws,) = taken
    assert set(throws.build) == {"B"}
    assert len(throws) == sum(",B," in line for line in Path(table).read_text(encoding="utf-8").splitlines())


def test_screen_of_a_page_that_throws_contradict_says_what_the_page_says(tmp_path: Path) -> None:
    # The throws of two builds that differ, as of one launcher.
    page = tmp_path / "page.html"
    config, table = (str(ROOT / "configs" / name) for name in ("seed_ball.toml", "seed_ball_throws.csv"))
    ran = stager("report", config, table, "--set", "limits.stages=1", "-o", str(page))
    words = " ".join(ran.out.split())
    assert words.startswith("The measured throws contradict the model of this launcher.")
    assert "The model does not fit these 36 throws" in words
    assert "settings not shown" in page.read_text(encoding="utf-8")


def test_infeasible_report_is_written_with_status_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = STREAMER.read_text(encoding="utf-8")
    (tmp_path / "far.toml").write_text(text, encoding="utf-8")
    infeasible = reports.infeasible()
    monkeypatch.setattr(Loaded, "report", lambda loaded, *given, **options: infeasible)
    ran = stager("report", "far.toml", "--quiet")
    assert ran.status == 1
    assert (tmp_path / "far.html").read_text(encoding="utf-8").count('id="card"') == 0


def test_unwritable_path_is_an_input_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    ran = stager("report", str(STREAMER), "--set", "limits.stages=1", "-o", str(tmp_path / "file" / "page.html"))
    assert ran.status == 2
    assert "cannot be written" in ran.err


def test_invalid_throws_are_an_input_error(tmp_path: Path) -> None:
    table = tmp_path / "throws.csv"
    table.write_text("throw,wheel_1 [m/s]\n1,12\n", encoding="utf-8")
    page = tmp_path / "page.html"
    ran = stager("report", str(STREAMER), str(table), "-o", str(page))
    assert ran.status == 2
    assert "exit_speed" in ran.err
    assert not page.exists()


def test_plan_writes_its_figures(tmp_path: Path) -> None:
    ran = stager("plan", str(STREAMER), "--draws", "20", "--figures", str(tmp_path), "--quiet")
    assert ran.status == 0
    names = {path.stem for path in tmp_path.iterdir()}
    assert {"launcher", "ladder", "barrel", "sweep-1", "sweep-2", "limits", "energy"} <= names
