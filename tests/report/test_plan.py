"""Headline of a plan if friction is too low for any stage, and first advice while nothing is measured."""

from __future__ import annotations

from pathlib import Path

import pytest

import stager as package
from stager.report.plan import UNMEASURED
from tests.cli.run import ROOT, stager
from tests.sharing import share_results


def test_plan_without_a_feasible_stage_gives_status_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    share_results(monkeypatch, "plan")
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    slippery = text.replace('"0.75 ± 0.08"', "0.05").replace('"0.22 ± 0.04"', "0.05")
    path = tmp_path / "slippery.toml"
    path.write_text(slippery, encoding="utf-8")
    one_stage = ("--draws", "0", "--set", "limits.stages=1")
    ran = stager("plan", str(path), *one_stage)
    assert ran.out.splitlines()[0] == "No stage fits: the ball stays at the feed's 1.20 m/s."
    assert ran.status == 1
    assert stager("worth", str(path), *one_stage).status == 1


@pytest.mark.usefixtures("few_draws")
def test_first_advice_is_to_measure_until_a_fit_stands_behind_the_contact(tmp_path: Path) -> None:
    config, table = ROOT / "configs" / "seed_ball.toml", ROOT / "configs" / "seed_ball_throws.csv"
    brief = ("--draws", "0", "--set", "limits.stages=1")
    assert UNMEASURED in " ".join(stager("worth", str(config), *brief).out.split())
    guessed = stager("plan", str(config), *brief).out.split("\n\n")[0]
    assert " ".join(guessed.split()).endswith(UNMEASURED)
    loaded = package.load(config)
    fit = loaded.fit(loaded.read_throws(table, build="A"), stages=1).fit
    (fitted, *_) = loaded.save_fit(fit, tmp_path / "fitted.toml")
    known = tmp_path / "known.toml"
    text = config.read_text(encoding="utf-8")
    known.write_text(text.replace(" ± 0.08", "").replace(" ± 0.04", "").replace(" ± 2 m/s", ""), encoding="utf-8")
    for command in ("plan", "worth"):
        for path in (fitted, known):
            assert "uesses" not in stager(command, str(path), *brief).out
