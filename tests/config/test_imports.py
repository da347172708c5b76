"""Reading a configuration does not import the compiler."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = """
import sys
from stager.cli import main
sys.argv = ["stager", *{given!r}]
try:
    main()
except SystemExit:
    pass
print("numba" in sys.modules, file=sys.stderr)
"""


@pytest.mark.parametrize("command", ["schema", "check"])
def test_numba_is_not_imported_by_schema_or_an_invalid_check(command: str, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.toml"
    right = (Path(__file__).parents[1] / "broken/valid.toml").read_text(encoding="utf-8")
    wrong.write_text(f"{right}\n[nothing]\nlike = 1\n", encoding="utf-8")
    given = [command] if command == "schema" else [command, str(wrong)]
    done = subprocess.run([sys.executable, "-c", PROGRAM.format(given=given)], capture_output=True, text=True)
    assert done.stderr.splitlines()[-1] == "False", done.stderr
