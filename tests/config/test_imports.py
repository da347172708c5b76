"""Commands do not load the compiler, nor those without a throw what loads machine code."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from stager.physics.contact.run import throw_samples

PROGRAM = """
import sys
from stager.cli import main
sys.argv = ["stager", *{given!r}]
try:
    main()
except SystemExit:
    pass
print([name in sys.modules for name in ("numba", "llvmlite")], file=sys.stderr)
"""


@pytest.mark.parametrize(
    ("command", "loaded"), [("schema", [False, False]), ("wrong", [False, False]), ("check", [False, True])]
)
def test_commands_load_what_they_need(command: str, loaded: list[bool], tmp_path: Path) -> None:
    throw_samples.load()
    right, wrong = Path(__file__).parents[1] / "broken/valid.toml", tmp_path / "wrong.toml"
    wrong.write_text(f"{right.read_text(encoding='utf-8')}\n[nothing]\nlike = 1\n", encoding="utf-8")
    given = {
        "schema": ["schema"], "wrong": ["check", str(wrong)], "check": ["check", str(right), "--speed", "12"],
    }[command]  # fmt: skip
    done = subprocess.run([sys.executable, "-c", PROGRAM.format(given=given)], capture_output=True, text=True)
    assert done.stderr.splitlines()[-1] == str(loaded), done.stderr
