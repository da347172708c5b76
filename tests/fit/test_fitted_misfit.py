"""A configuration written by a fit that does not fit says so in every answer, until one fits."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import stager as package
from tests.cli.run import ROOT, stager
from tests.sharing import few_draws, share_results

pytestmark = pytest.mark.usefixtures("few_draws")
CONFIG, TABLE = str(ROOT / "configs" / "seed_ball.toml"), str(ROOT / "configs" / "seed_ball_throws.csv")
WORDS = "was fitted to throws that do not fit the model"


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fit to throws of two builds that differ, so that no single launcher throws like both."""
    path = tmp_path_factory.mktemp("misfit") / "fitted.toml"
    with few_draws():
        assert stager("fit", CONFIG, TABLE, "-o", str(path)).status in (0, 1)
    return path


@pytest.mark.parametrize("command", [("plan", "--draws", "40"), ("check",), ("throw", "--speed", "12"), ("sweep",)])
def test_answers_of_a_configuration_that_does_not_fit_say_so(
    fitted: Path, command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    share_results(monkeypatch, "plan", "sweep")
    name, *options = command
    given = (name, str(fitted), *options, "--set", "limits.stages=1")
    assert WORDS in " ".join(stager(*given).out.split())
    assert json.loads(stager(*given, "--json").out)["fitted_misfit"] == package.load(fitted).misfit != ""


def test_cards_and_pages_of_such_a_configuration_say_so(fitted: Path, tmp_path: Path) -> None:
    card, page = tmp_path / "card.html", tmp_path / "page.html"
    told = [stager(name, str(fitted), "--set", "limits.stages=1", "-o", str(path)) for name, path in
            (("card", card), ("report", page))]  # fmt: skip
    assert [ran.status in (0, 1) for ran in told] == [True, True]
    assert [" ".join(ran.out.split()).count(WORDS) for ran in told] == [1, 1]
    assert WORDS in card.read_text(encoding="utf-8")
    assert "given the measured throws" not in card.read_text(encoding="utf-8")
    assert WORDS in page.read_text(encoding="utf-8")


def test_a_fit_that_fits_says_it_no_more(fitted: Path, tmp_path: Path) -> None:
    again, one_build = tmp_path / "again.toml", tmp_path / "one.csv"
    lines = Path(TABLE).read_text(encoding="utf-8").splitlines()
    head = next(number for number, line in enumerate(lines) if line.startswith("throw,"))
    place = [cell.strip() for cell in lines[head].split(",")].index("build")
    first = lines[head + 1].split(",")[place]
    kept = [line for line in lines[head + 1 :] if line.split(",")[place] == first]
    one_build.write_text("\n".join([*lines[: head + 1], *kept]) + "\n", encoding="utf-8")
    assert stager("fit", str(fitted), str(one_build), "-o", str(again)).status == 0
    assert package.load(again).misfit == ""
    assert "misfit" not in again.read_text(encoding="utf-8")
