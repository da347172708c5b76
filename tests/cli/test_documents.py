"""JSON documents have exactly the promised keys, and their numbers agree with each other."""

from __future__ import annotations

import hashlib
import json
import tomllib
from pathlib import Path

import pytest

import stager as package
from tests.cli.run import ROOT, TEMPLATE, stager
from tests.cli.run import document as run_json
from tests.sharing import share_results

pytestmark = pytest.mark.usefixtures("few_draws")
PROVENANCE = {"stager_version", "config_sha256", "seed"}
STAGE = {
    *("wheel_speed_m_s", "wheel_speed_b_m_s", "rpm", "entry_speed_m_s", "exit_speed_m_s", "wheel_speed_after_m_s"),
    *("wheel_speed_b_after_m_s", "spin_rad_s", "slip_at_exit_m_s", "grip", "contact_time_s", "wheel_work_J"),
    *("slip_heat_J", "crush_loss_J", "peak_acceleration_m_s2", "spin_acceleration_m_s2", "squeeze_m_s2"),
    *("indicated_rpm", "side_b_driven"),
}
THROW = {
    *("exit_speed_m_s", "outlet_speed_m_s", "stays_in_outlet", "spin_rad_s", "exit_energy_J", "spin_energy_J"),
    *("jammed", "stages", "flight", "shots"),
}
SWEEP = {"stage", "wheel_speed_m_s", "exit_speed_m_s", "grip_limit", "robust"}
LADDER = {
    *("stages", "exit_speed_m_s", "gain_fraction", "probability_worthwhile", "length_m", "mass_kg", "cost"),
    *("average_power_W", "kept", "broken", "chosen"),
}
PLAN = {
    *("stages", "stage_count", "exit_speed_m_s", "exit_energy_J", "length_m", "average_power_W", "bound_m_s"),
    *("gap_fraction", "limits", "ladder", "recommended_stages", "verdict", "relaxations"),
}
LIMIT = {"name", "used", "allowed", "unit", "margin_fraction", "kept", "missing", "find_out", "remedy"}
MASS = 0.018


@pytest.fixture(autouse=True)
def share_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    """Compute the plan once for all documents."""
    share_results(monkeypatch, "plan")


def _changed(tmp_path: Path, *changes: tuple[str, str]) -> str:
    text = TEMPLATE.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    return str(tmp_path / "a.toml")


def test_throw_document() -> None:
    document = run_json("throw", str(TEMPLATE), "--speed", "10", "--speed", "14:13", "--seed", "7")
    assert set(document) == THROW | {"safety"} | PROVENANCE
    assert [set(stage) for stage in document["stages"]] == [STAGE, STAGE]
    assert document["stages"][1]["wheel_speed_b_m_s"] == 13
    assert document["stages"][1]["entry_speed_m_s"] == pytest.approx(document["stages"][0]["exit_speed_m_s"])
    # Energy behind the outlet, whose loss is an estimate in the template.
    assert document["exit_energy_J"] == pytest.approx(MASS * document["outlet_speed_m_s"] ** 2 / 2)
    assert document["stager_version"] == package.__version__
    assert document["config_sha256"] == hashlib.sha256(TEMPLATE.read_bytes()).hexdigest()
    assert document["seed"] == 7


def test_side_b_is_null_on_a_rail(tmp_path: Path) -> None:
    document = run_json("throw", _changed(tmp_path, ('layout = "pair"', 'layout = "rail"')), "--speed", "10")
    stage = document["stages"][0]
    assert stage["wheel_speed_b_m_s"] is stage["wheel_speed_b_after_m_s"] is None
    assert document["spin_rad_s"] > 0


def test_stages_of_a_jam_end_with_the_jammed_stage(tmp_path: Path) -> None:
    slippery = _changed(tmp_path, ("0.75 ± 0.2", "0.03"), ("0.3 ± 0.1", "0.02"))
    document = run_json("throw", slippery, "--speed", "10", "--speed", "14", status=1)
    assert document["jammed"] is True
    assert document["exit_speed_m_s"] == 0
    assert [stage["grip"] for stage in document["stages"]] == ["jam"]


def test_check_document() -> None:
    document = run_json("check", str(TEMPLATE))
    assert set(document) == {"kept", "limits", "throw", "drives", "tyres", "feed", "pusher", "safety"} | PROVENANCE
    # The template leaves out the hub's material, so the burst limit cannot be judged.
    assert document["kept"] is None
    for limit in document["limits"]:
        assert set(limit) == LIMIT
        known = limit["name"] != "burst"
        assert limit["kept"] is (True if known else None)
        assert limit["missing"] == (None if known else "stage.wheel.material")
        assert limit["find_out"] == (None if known else "name what the hub is made of")
        # Fewer stages help only where there are too many.
        assert bool(limit["remedy"]) is (known and limit["name"] != "stages")
    assert {"exit_energy", "stages", "length", "grip_margin"} <= {limit["name"] for limit in document["limits"]}


def test_broken_limit_gives_status_one(tmp_path: Path) -> None:
    document = run_json("check", _changed(tmp_path, ('"8 J"', '"0.1 J"')), status=1)
    broken = [limit for limit in document["limits"] if limit["kept"] is False]
    assert [limit["name"] for limit in broken] == ["exit_energy"]
    assert broken[0]["margin_fraction"] == pytest.approx(1 - broken[0]["used"] / 0.1)


def test_sweep_document() -> None:
    document = run_json("sweep", str(TEMPLATE), "--stage", "2", "--speed", "10")
    assert set(document) >= SWEEP | PROVENANCE
    assert document["stage"] == 2
    assert len(document["wheel_speed_m_s"]) == len(document["exit_speed_m_s"])
    assert set(document["grip_limit"]) == {"wheel_speed_m_s", "exit_speed_m_s", "interval_m_s"}
    # The definition of the grip limit: within 0.1 % of the greatest exit speed.
    assert document["grip_limit"]["exit_speed_m_s"] >= 0.999 * max(document["exit_speed_m_s"]) * (1 - 1e-6)


def test_plan_and_worth_documents() -> None:
    plan = run_json("plan", str(TEMPLATE))
    assert set(plan) >= PLAN | PROVENANCE
    assert [set(stage) >= STAGE | {"throttle", "speed_loss_fraction"} for stage in plan["stages"]] == [True] * 4
    assert plan["stage_count"] == len(plan["stages"]) == 4
    assert {"name", "used", "allowed", "unit", "binding", "price"} <= set(plan["limits"][0])
    assert [limit["name"] for limit in plan["limits"] if limit["binding"]] == ["grip_margin", "stages"]
    assert [set(rung) for rung in plan["ladder"]] == [LADDER] * 5
    assert set(plan["ladder"][1]["exit_speed_m_s"]) == {"nominal", "low", "high"}
    assert plan["ladder"][4]["exit_speed_m_s"]["nominal"] == pytest.approx(plan["exit_speed_m_s"])
    worth = run_json("worth", str(TEMPLATE))
    assert set(worth) == {"ladder", "recommended_stages", "verdict", "left_open"} | PROVENANCE
    assert worth["ladder"] == plan["ladder"]


def test_throw_reproduces_the_planned_exit_speed() -> None:
    plan = run_json("plan", str(TEMPLATE))
    speeds = [argument for stage in plan["stages"] for argument in ("--speed", repr(stage["wheel_speed_m_s"]))]
    thrown = run_json("throw", str(TEMPLATE), *speeds)
    assert thrown["exit_speed_m_s"] == pytest.approx(plan["exit_speed_m_s"], rel=1e-6)


def test_written_plan_loads_and_throws_the_same(tmp_path: Path) -> None:
    planned = tmp_path / "planned.toml"
    ran = stager("plan", str(TEMPLATE), "-o", str(planned), "--json")
    assert ran.status == 0
    written = tomllib.loads(planned.read_text(encoding="utf-8"))
    assert len(written["stages"]) == json.loads(ran.out)["stage_count"]
    assert [path.name for path in tmp_path.iterdir()] == ["planned.toml"]
    thrown = run_json("throw", str(planned))
    assert thrown["exit_speed_m_s"] == pytest.approx(json.loads(ran.out)["exit_speed_m_s"], rel=1e-5)


def test_settings_printed_saved_and_pinned_are_those_of_the_advised_design(tmp_path: Path) -> None:
    config, planned = str(ROOT / "configs" / "seed_ball.toml"), tmp_path / "planned.toml"
    plan = run_json("plan", config, "--draws", "0", "-o", str(planned))
    ladder = [rung["exit_speed_m_s"]["nominal"] for rung in plan["ladder"]]
    advised = plan["recommended_stages"]
    assert advised == plan["stage_count"] == len(plan["stages"]) < ladder.index(max(ladder))
    assert plan["exit_speed_m_s"] == pytest.approx(ladder[advised])
    speeds = [stage["wheel_speed_m_s"] for stage in plan["stages"]]
    assert package.load(planned).speeds().side_a.tolist() == pytest.approx(speeds)
    card = run_json("card", str(planned), "-o", str(tmp_path / "card.html"))
    assert [stage["wheel_speed_m_s"] for stage in card["stages"]] == pytest.approx(speeds)
    screen = stager("plan", config, "--draws", "0").out
    assert screen.startswith(f"{advised} stages: the ball leaves at {plan['exit_speed_m_s']:.2f} m/s")
    assert f"Fastest within the limits: {ladder.index(max(ladder))} stages, {max(ladder):.2f} m/s." in " ".join(
        screen.split()
    )


def test_infeasible_plan_gives_status_one_and_writes_nothing(tmp_path: Path) -> None:
    beyond = _changed(tmp_path, ('aim = "fastest"', 'aim = "reach"\nexit_speed = "60 m/s"'))
    document = run_json("plan", beyond, status=1)
    assert document["stage_count"] is None
    assert document["stages"] == []
    ran = stager("plan", beyond, "-o", str(tmp_path / "planned.toml"))
    assert ran.status == 1
    assert not (tmp_path / "planned.toml").exists()


def test_schema_document() -> None:
    document = run_json("schema")
    assert {"$schema", "properties"} <= set(document)
    assert {"projectile", "feed", "contact", "stage", "stages", "limits", "goal"} <= set(document["properties"])
    assert stager("schema").out == stager("schema", "--json").out
