"""Errors that commands find beyond the reading of a file name its line too."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.run import ROOT, stager

SUPPLY = re.compile(r"(?ms)^\[supply\]\n.*?^\n")
RATE = re.compile(r'(?m)^rate = "1 /s".*\n')
FRICTION = re.compile(r'(?m)^(static|sliding) = .*"')
SIZES = re.compile(r"(?m)^(radius|clearance|crush) = .*\n")
SPIN = '[goal]\nspin = "9 rev/s"\n'
SMALL = '[stage.wheel]\nradius = "12 mm"\n', '[stage]\nclearance = "0.1 mm"\ncrush = "9 mm"\n'


def _edited(*edits: tuple[re.Pattern[str], str]) -> str:
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    for pattern, other in edits:
        text, count = pattern.subn(other, text)
        assert count
    return text


def _held_by_two_stages() -> str:
    text = _edited((SIZES, "")).replace("[goal]\n", SPIN)
    for lines in SMALL:
        table = lines.partition("\n")[0] + "\n"
        text = re.sub(rf"(?m)^{re.escape(table.strip())}.*\n", lines, text)
    return text


@pytest.mark.parametrize(
    ("text", "command", "error", "line"),
    [
        (_edited((SUPPLY, "")), "motor", "supply: is missing", None),
        (_edited((RATE, "")), "motor", "feed.rate: is missing", "[feed]"),
        (_edited((FRICTION, r"\1 = 0.02  #")), "motor", "stage.speed: the throw jams", "speed = "),
        (_held_by_two_stages(), "plan", "goal.spin: stages that hold the projectile together", "spin = "),
    ],
)
def test_error_of_a_command_names_file_and_line(
    text: str, command: str, error: str, line: str | None, tmp_path: Path
) -> None:
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    ran = stager(command, str(path))
    assert ran.status == 2
    found = re.match(rf"{re.escape(str(path))}:(\d+): {re.escape(error)}", ran.err)
    assert found, ran.err
    number = int(found[1])
    assert number == 1 if line is None else text.splitlines()[number - 1].startswith(line)
