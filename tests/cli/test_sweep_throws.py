"""`stager sweep` with measured throws, and invalid stage numbers."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import stager as package
from tests.cli.run import ROOT, stager
from tests.sharing import share_results

pytestmark = pytest.mark.usefixtures("few_draws")
CONFIG, TABLE = str(ROOT / "configs" / "seed_ball.toml"), str(ROOT / "configs" / "seed_ball_throws.csv")
TWO = """\
wheel_1 [m/s],wheel_2 [m/s],exit_speed [m/s]
12,,11.1
12,16,15.2
12,17,16.4
14,16,0
,16,9
12,60,7
"""


@pytest.fixture(autouse=True)
def shared(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fit once for each table."""
    share_results(monkeypatch, "sweep")


@pytest.fixture
def two(tmp_path: Path) -> str:
    (tmp_path / "two.csv").write_text(TWO, encoding="utf-8")
    return str(tmp_path / "two.csv")


def test_document_lists_every_measured_throw() -> None:
    ran = stager("sweep", CONFIG, TABLE, "--build", "B", "--json")
    assert (ran.status, ran.err) == (0, "")
    document = json.loads(ran.out)
    rows = [line.split(",") for line in Path(TABLE).read_text(encoding="utf-8").splitlines() if ",B," in line]
    assert [one["throw"] for one in document["measured"]] == [float(row[0]) for row in rows]
    assert [one["exit_speed_m_s"] for one in document["measured"]] == [float(row[3]) for row in rows]
    # rpm to surface speed: 2π/60 × the configuration's radius of 40 mm.
    speeds = [2 * np.pi / 60 * 0.04 * float(row[2]) for row in rows]
    assert [one["wheel_speed_m_s"] for one in document["measured"]] == [[pytest.approx(speed)] for speed in speeds]
    launcher = package.load(CONFIG)
    for one in document["measured"]:
        expected = float(launcher.simulate(*one["wheel_speed_m_s"]).exit_speed)
        assert one["expected_exit_speed_m_s"] == pytest.approx(expected)
        assert one["difference_fraction"] == pytest.approx(one["exit_speed_m_s"] / expected - 1)
    for one in document["measured"]:
        low, high = one["interval_m_s"]
        assert low < one["expected_m_s"] < high
        assert one["expected_m_s"] == one["expected_exit_speed_m_s"]
        assert one["outside"] == (not low <= one["exit_speed_m_s"] <= high)
    shares = [one["difference_fraction"] for one in document["measured"]]
    assert document["median_difference_fraction"] == pytest.approx(np.median(shares))


def test_throw_outside_its_interval_is_named(tmp_path: Path) -> None:
    (tmp_path / "some.csv").write_text("wheel_1 [m/s],exit_speed [m/s]\n8,7.9\n12,11.3\n12,6\n10,9.6\n", "utf-8")
    shown = " ".join(stager("sweep", CONFIG, str(tmp_path / "some.csv")).out.split())
    assert "1 of 4 throws lies outside the 95 % interval that the configuration expects a single throw in: 3." in shown


def test_document_has_null_without_measured_throws() -> None:
    document = json.loads(stager("sweep", CONFIG, "--json").out)
    assert document["measured"] is document["median_difference_fraction"] is None


def test_throws_of_stage_two_at_the_given_first_speed(two: str) -> None:
    ran = stager("sweep", CONFIG, two, "--stage", "2", "--speed", "12", "--json")
    document = json.loads(ran.out)
    assert [one["line"] for one in document["measured"]] == [3, 4, 5, 7]
    speeds = [one["wheel_speed_m_s"] for one in document["measured"]]
    assert [one[:-1] for one in speeds] == [[12], [12], [14], [12]]
    assert {len(one) for one in speeds} == {2}
    assert document["measured"][2]["difference_fraction"] is None
    message = " ".join(stager("sweep", CONFIG, two, "--stage", "2", "--speed", "12").out.split())
    assert "1 throw jammed where the configuration expects none to." in message
    assert "Not in the picture" not in message
    message = " ".join(stager("sweep", CONFIG, two, "--stage", "2", "--speed", "10").out.split())
    assert "Not in the picture: 3 throws with other speeds of the wheels before." in message


def test_table_without_throws_of_the_stage_is_an_input_error(two: str) -> None:
    ran = stager("sweep", CONFIG, two, "--stage", "3")
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith(f"{two}: no throw ended with stage 3\n")


def test_build_without_a_table_is_an_input_error() -> None:
    ran = stager("sweep", CONFIG, "--build", "A")
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith("build: names a build, but THROWS is missing\n")


@pytest.mark.parametrize("stage", ["0", "-1", "6"])
def test_stage_number_out_of_range_is_an_input_error(stage: str) -> None:
    # The configuration allows five.
    ran = stager("sweep", CONFIG, "--stage", stage)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith(f"stage: must be 1 to 5, as limits.stages allows (got {stage})\n")


def test_figure_table_lists_the_measured_throws() -> None:
    launcher = package.load(CONFIG)
    found = launcher.sweep(throws=launcher.read_throws(TABLE, "B"))
    twin = found.picture().twin
    assert sum("measured" in row for row in twin.rows) == 12


def test_measured_throws_have_the_speed_of_side_b_where_it_is_driven(two: str) -> None:
    for layout, driven in (("pair", True), ("rail", False)):
        given = ("sweep", CONFIG, two, "--stage", "2", "--speed", "12", "--set", f"stage.layout={layout}", "--json")
        for one in json.loads(stager(*given).out)["measured"]:
            assert one["wheel_speed_b_m_s"] == (one["wheel_speed_m_s"] if driven else [None, None])


def test_no_speed_is_recommended_by_a_fit_that_does_not_fit() -> None:
    # The two builds of the table differ, so that no single launcher throws like both.
    ran = stager("sweep", CONFIG, TABLE)
    assert "The model does not fit the throws, so no wheel speed is recommended" in " ".join(ran.out.split())
    assert "Recommended" not in ran.out
    found = json.loads(stager("sweep", CONFIG, TABLE, "--json").out)
    assert (found["recommended"], found["robust"]) == (None, None)
    assert found["grip_limit"] is not None
