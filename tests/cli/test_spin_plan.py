"""A plan with a spin goal: written, checked and thrown again; answers that ignore the spin say so."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import stager as package
from stager.report.page.content import view
from tests.cli.run import ROOT, document, stager

pytestmark = pytest.mark.usefixtures("few_draws")
SPIN = -30 * 2 * np.pi
GOAL = 'spin = "-30 rev/s"\n'


@pytest.fixture(scope="module")
def spun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    exact = "".join(line.split(" ±")[0] + '"\n' if " ±" in line else f"{line}\n" for line in text.splitlines())
    path = tmp_path_factory.mktemp("spin") / "spun.toml"
    path.write_text(exact.replace("stages = 5", "stages = 1").replace("[goal]\n", f"[goal]\n{GOAL}"), encoding="utf-8")
    return path


def test_written_spin_plan_throws_and_checks_alike(spun: Path) -> None:
    written = spun.with_name("planned.toml")
    planned = document("plan", str(spun), "-o", str(written))
    thrown, checked = document("throw", str(written)), document("check", str(written))
    assert planned["spin_rad_s"] == pytest.approx(SPIN, rel=1e-3)
    for other in (thrown, checked["throw"]):
        assert other["exit_speed_m_s"] == pytest.approx(planned["exit_speed_m_s"], rel=1e-5)
        assert other["spin_rad_s"] == pytest.approx(planned["spin_rad_s"], rel=1e-5)
        for side in ("wheel_speed_m_s", "wheel_speed_b_m_s"):
            assert other["stages"][0][side] == pytest.approx(planned["stages"][0][side], rel=1e-9)
    assert planned["stages"][0]["wheel_speed_b_m_s"] > planned["stages"][0]["wheel_speed_m_s"]
    used = [next(row["used"] for row in each["limits"] if row["name"] == "grip_margin") for each in (planned, checked)]
    assert used == pytest.approx([0.05, 0.05], abs=2e-4)
    assert "It spins at -30.0 rev/s; the goal asks for -30.0 rev/s." in stager("check", str(written)).out


def test_card_of_a_spin_plan_has_one_row_per_wheel(spun: Path) -> None:
    loaded = package.load(spun)
    report = loaded.report()
    card, best = view(report.data).card, report.plan.best
    assert card is not None
    assert best is not None
    assert best.throttle is not None
    assert best.throttle_b is not None
    heads = [f"{column.head} {column.unit}".strip() for column in card.columns]
    a, b = (dict(zip(heads, row.cells, strict=True)) for row in card.rows)
    assert (a["wheel"], b["wheel"]) == ("A", "B")
    assert float(a["throttle %"]) == pytest.approx(100 * best.throttle[0], abs=0.051)
    assert float(b["throttle %"]) == pytest.approx(100 * best.throttle_b[0], abs=0.051)
    assert a["throttle %"] != b["throttle %"]
    # The margin is shown at the faster wheel.
    assert (a["below grip limit %"], b["below grip limit %"]) == ("-", "5.0")


def test_sweep_says_that_the_spin_goal_is_ignored(spun: Path) -> None:
    answer = package.load(spun).sweep().answer()
    assert answer.document["left_out"] == ["goal.spin"]
    assert answer.screen is not None
    assert "The spin that the goal asks for is left out here" in answer.screen.notes[0]
