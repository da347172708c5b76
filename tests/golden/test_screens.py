"""Every screen as it is printed, at two widths. `UPDATE_GOLDEN=1` rewrites them: read the diff."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.cli.run import TEMPLATE, stager

TYPED = {
    "bench": "help\n1500 6.0 first one\n6.1\n2500, 9.9\nbuild b\n3000 jam\n15,5\n200 30\nundo\n3300 13.0\nshow\n",
}
SCREENS = Path(__file__).parent / "screens"
BALL = "launcher.toml"
CASES = {
    "help": ["--help"],
    "throw-help": ["throw", "--help"],
    "new": ["new", "mine"],
    "new-again": ["new", "."],
    "check": ["check", BALL],
    "check-broken": ["check", BALL, "--speed", "70"],
    "throw": ["throw", BALL, "--speed", "10", "--speed", "13.5"],
    "throw-spin": ["throw", BALL, "--speed", "3000 rpm", "--speed", "14:9"],
    "throw-quiet": ["throw", BALL, "--speed", "10", "--quiet"],
    "throw-jam": ["throw", "jam.toml", "--speed", "10"],
    "sweep": ["sweep", BALL, "--stage", "2"],
    "sweep-jam": ["sweep", "jam.toml"],
    "plan": ["plan", BALL],
    "plan-quiet": ["plan", BALL, "--quiet"],
    "plan-none": ["plan", "narrow.toml"],
    "worth": ["worth", BALL],
    "bench": ["bench", BALL, "mine.csv"],
    "bench-help": ["bench", "--help"],
    "bad-config": ["check", "bad.toml"],
    "no-file": ["plan", "missing.toml"],
    "bad-speed": ["throw", BALL, "--speed", "12 kg"],
    "bad-option": ["throw", BALL, "--sped", "12"],
}


@pytest.fixture(autouse=True)
def scenario(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A directory with one good configuration, one that jams, one that nothing fits and one that is wrong."""
    text = TEMPLATE.read_text(encoding="utf-8")
    (tmp_path / BALL).write_text(text, encoding="utf-8")
    (tmp_path / "narrow.toml").write_text(_with(text, aim='"reach"\nexit_speed = "60 m/s"'), encoding="utf-8")
    (tmp_path / "jam.toml").write_text(_with(text, static="0.03", sliding="0.02"), encoding="utf-8")
    (tmp_path / "bad.toml").write_text(_with(text, crush='"-4 mm"', mass="18", rate='"2 rpm"'), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for name in ("FORCE_COLOR", "CLICOLOR_FORCE", "GITHUB_ACTIONS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", CASES)
def test_screen(name: str, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("TERMINAL_WIDTH", str(width))
    ran = stager(*CASES[name], typed=TYPED.get(name, ""))
    seen = f"$ stager {' '.join(CASES[name])}\n{ran.out}--- stderr\n{ran.err}--- status {ran.status}\n"
    kept = SCREENS / f"{name}-{width}.txt"
    if os.environ.get("UPDATE_GOLDEN"):
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(seen, encoding="utf-8")
    assert seen == kept.read_text(encoding="utf-8")
    assert all(len(line) <= width for line in ran.out.splitlines())
    assert "\x1b" not in seen


def test_no_screen_is_left_over() -> None:
    assert {path.stem.rpartition("-")[0] for path in SCREENS.glob("*.txt")} == set(CASES)


def _with(text: str, **values: str) -> str:
    """Configuration text with other values for the first line of each key."""
    lines = text.splitlines()
    for key, value in values.items():
        place = next(i for i, line in enumerate(lines) if line.partition("=")[0].strip() == key)
        lines[place] = f"{key} = {value}"
    return "\n".join(lines) + "\n"
