"""Screens of every command at two widths against stored text. `UPDATE_GOLDEN=1` rewrites them; read the diff."""

from __future__ import annotations

import io
import os
import re
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from stager.cli.app import COMMANDS
from tests.cli.run import ROOT, TEMPLATE, Completed, stager
from tests.fit.recordings import Wheel, recording
from tests.page.reports import with_values
from tests.sharing import few_draws, share_fits, share_results

TYPED = {
    "bench": "help\n2400 7.4 first one\n7.5\n3000, 9.2\nbuild b\n3200 jam\n15,5\n200 30\nundo\n4200 12.4\nshow\n",
}
SCREENS = Path(__file__).parent / "screens"
BALL = "launcher.toml"
SPUN = "spun.toml"
SEED = "seed_ball.toml"
TABLE = "seed_ball_throws.csv"
CASES = {
    "help": ["--help"],
    "throw-help": ["throw", "--help"],
    "new": ["new", "mine"],
    "new-again": ["new", ".", "--stages", "3"],
    "check": ["check", BALL],
    "check-full": ["check", "full.toml", "--speed", "12", "--speed", "17", "--full"],
    "check-settings": ["check", SEED, "--settings", "settings.csv", "-o", "judged.csv"],
    "check-broken": ["check", BALL, "--speed", "70"],
    "throw": ["throw", BALL, "--speed", "10", "--speed", "13.5"],
    "throw-spin": ["throw", BALL, "--speed", "3000 rpm", "--speed", "14:9"],
    "throw-quiet": ["throw", BALL, "--speed", "10", "--quiet"],
    "throw-jam": ["throw", "jam.toml", "--speed", "10"],
    "sweep": ["sweep", BALL, "--stage", "2"],
    "sweep-jam": ["sweep", "jam.toml"],
    "sweep-throws": ["sweep", SEED, TABLE, "--build", "A"],
    "sweep-beyond": ["sweep", SEED, "--stage", "9"],
    "plan": ["plan", BALL],
    "plan-quiet": ["plan", BALL, "--quiet"],
    "plan-none": ["plan", "narrow.toml"],
    "plan-spin": ["plan", SPUN, "--draws", "40"],
    "check-spin": ["check", SPUN, "--speed", "9:13"],
    "sweep-spin": ["sweep", SPUN],
    "worth": ["worth", BALL],
    "fit": ["fit", SEED, TABLE, "--build", "A", "-o", "fitted.toml"],
    "fit-few": ["fit", SEED, "few.csv"],
    "fit-unlike": ["fit", SEED, TABLE, "--build", "A", "--set", "stage.wheel.radius=30 mm"],
    "fit-none": ["fit", SEED, "none.csv"],
    "compare": ["compare", SEED, TABLE, "--builds", "A", "B"],
    "compare-unknown": ["compare", SEED, TABLE, "--builds", "A", "C"],
    "next": ["next", SEED, "few.csv"],
    "next-enough": ["next", SEED, TABLE, "--build", "A"],
    "report": ["report", BALL, "-o", "page.html"],
    "card": ["card", BALL, "-o", "card.html"],
    "draw": ["draw", SEED, "-o", "plate.svg"],
    "explain": ["explain", "grip limit"],
    "motor": ["motor", SEED, "--speed", "12", "--speed", "16", "--rate", "2 /s", "--within", "2 %"],
    "listen": ["listen", "throw.wav", "--distance", "5 m", "--microphone", "0.3 m ± 1 cm", "--rpm", "2000:6000"],
    "listen-no": ["listen", "throw.wav", "--distance", "5 m", "--rpm", "5000:9000", "--full"],
    "bench": ["bench", BALL, "mine.csv"],
    "new-help": ["new", "--help"],
    "bench-help": ["bench", "--help"],
    "bad-config": ["check", "bad.toml"],
    "no-file": ["plan", "missing.toml"],
    "bad-speed": ["throw", BALL, "--speed", "12 kg"],
    "bad-option": ["throw", BALL, "--sped", "12"],
}
STYLED = (
    "new", "check", "throw", "sweep", "fit", "plan", "worth", "compare", "next", "report", "bench", "listen", "card",
    "draw", "explain", "motor",
)  # fmt: skip
DRAWN_LESS = ("bench", "fit", "fit-few", "fit-unlike", "next", "next-enough", "sweep-jam", "sweep-throws")
"""What draws most: its numbers are those of few draws."""
FEW = """\
throw,wheel_1 [rpm],exit_speed [m/s]
1,1500,5.91
2,2400,9.38
3,2000,7.80
4,2700,10.70
"""
SETTINGS = """\
wheel_1 [rpm],wheel_2 [rpm]
2800,3500
2900,3600
2900,
2900,4100
"""


def _sound() -> bytes:
    """Return a recorded throw: 5 m at 20 m/s, microphone at 0.3 m, a 4000 rpm wheel that slows by 6 %."""
    wheel = Wheel(turns=4000 / 60, amplitudes=(1.0, 0.5, 0.4), droop=0.06, constant=0.15)
    knocks = 1.2 + 0.3 / 343.2, 1.45 + 4.7 / 343.2
    made = recording(np.random.default_rng(11), seconds=3.0, rate=22_050.0, knocks=knocks, release=1.2, wheels=(wheel,))
    out = io.BytesIO()
    wavfile.write(out, 22_050, (30_000 * made.samples / np.max(np.abs(made.samples))).astype(np.int16))
    return out.getvalue()


SOUND = _sound()


@pytest.fixture(autouse=True)
def scenario(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fill a directory with valid, jamming, infeasible and invalid configurations."""
    text = TEMPLATE.read_text(encoding="utf-8")
    (tmp_path / BALL).write_text(text, encoding="utf-8")
    full = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    more = '[limits]\nwinding_temperature = "50 degC"\nsettled_loss = 0.05\npeak_power = "1 kW"\n'
    (tmp_path / "full.toml").write_text(full.replace("[limits]\n", more), encoding="utf-8")
    (tmp_path / "narrow.toml").write_text(with_values(text, aim='"reach"\nexit_speed = "60 m/s"'), encoding="utf-8")
    (tmp_path / SPUN).write_text(with_values(text, aim='"fastest"\nspin = "-15 rev/s"', stages="2"), encoding="utf-8")
    (tmp_path / "jam.toml").write_text(with_values(text, static="0.03", sliding="0.02"), encoding="utf-8")
    (tmp_path / "bad.toml").write_text(with_values(text, crush='"-4 mm"', mass="18", rate='"2 rpm"'), encoding="utf-8")
    for name in (SEED, TABLE):
        (tmp_path / name).write_text((ROOT / "configs" / name).read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "few.csv").write_text(FEW, encoding="utf-8")
    (tmp_path / "settings.csv").write_text(SETTINGS, encoding="utf-8")
    (tmp_path / "none.csv").write_text("\n".join(FEW.splitlines()[:3]), encoding="utf-8")
    (tmp_path / "throw.wav").write_bytes(SOUND)
    monkeypatch.chdir(tmp_path)
    for name in ("FORCE_COLOR", "CLICOLOR_FORCE", "GITHUB_ACTIONS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.fixture(autouse=True)
def shared(monkeypatch: pytest.MonkeyPatch) -> None:
    """Compute plans and fits once for all widths, and the fit of a table once for all commands."""
    share_fits(monkeypatch)
    share_results(monkeypatch, "plan", "fit", "next", "compare", "watch", "report", "sweep", "card", "size_motors")


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", CASES)
def test_screen(name: str, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    ran = _run(name, monkeypatch, width)
    _compare(name, str(width), ran)
    assert all(len(line) <= width for line in ran.out.splitlines())
    assert "\x1b" not in ran.out + ran.err


@pytest.mark.parametrize("name", STYLED)
def test_screen_in_colour(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("COLORTERM", raising=False)
    ran = _run(name, monkeypatch, 80)
    _compare(name, "colour", ran)
    plain = (SCREENS / f"{name}-80.txt").read_text(encoding="utf-8")
    # The text is the same with and without colour.
    assert re.sub(r"\x1b\[[\d;]*m", "", _screen(name, ran)) == plain


@pytest.mark.parametrize("name", STYLED)
def test_screen_in_ascii(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    ran = _run(name, monkeypatch, 80, encoding="ascii")
    _compare(name, "ascii", ran)
    asked = ran.out.replace("Is that right?", "")
    assert "?" not in asked
    assert "\\" not in ran.out + ran.err


def _run(name: str, monkeypatch: pytest.MonkeyPatch, width: int, encoding: str = "utf-8") -> Completed:
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("TERMINAL_WIDTH", str(width))
    with few_draws() if name in DRAWN_LESS else nullcontext():
        return stager(*CASES[name], typed=TYPED.get(name, ""), encoding=encoding)


def _screen(name: str, ran: Completed) -> str:
    return f"$ stager {' '.join(CASES[name])}\n{ran.out}--- stderr\n{ran.err}--- status {ran.status}\n"


def _compare(name: str, kind: str, ran: Completed) -> None:
    seen, stored = _screen(name, ran), SCREENS / f"{name}-{kind}.txt"
    if os.environ.get("UPDATE_GOLDEN"):
        stored.parent.mkdir(exist_ok=True)
        stored.write_text(seen, encoding="utf-8")
    assert seen == stored.read_text(encoding="utf-8")


def test_every_command_has_a_screen() -> None:
    # The output of `schema` is stored beside the scenarios.
    assert {CASES[name][0] for name in STYLED} == {run.__name__ for run in COMMANDS} - {"schema"}


def test_every_stored_screen_has_a_case() -> None:
    assert {path.stem.rpartition("-")[0] for path in SCREENS.glob("*.txt")} == set(CASES)
