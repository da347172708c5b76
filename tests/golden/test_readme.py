"""README shows the real output of its commands and of its Python example. `UPDATE_GOLDEN=1` rewrites it."""

from __future__ import annotations

import io
import os
import re
from contextlib import redirect_stdout

import pytest

from tests.cli.run import ROOT, stager
from tests.sharing import share_results

README = ROOT / "README.md"
COMMAND = re.compile(r"```\n\$ stager (?P<arguments>[^\n]*)\n(?P<shown>.*?)```\n", re.DOTALL)
PYTHON = re.compile(r"```python\n(?P<code>.*?)```\n+```\n(?P<shown>.*?)```\n", re.DOTALL)


@pytest.fixture(autouse=True)
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Run in the repository's root, at 80 columns, without colour."""
    share_results(monkeypatch, "plan")
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "80")
    for name in ("FORCE_COLOR", "CLICOLOR_FORCE", "GITHUB_ACTIONS"):
        monkeypatch.delenv(name, raising=False)


def _compare(pattern: re.Pattern[str], seen: str, number: int = 0) -> None:
    text = README.read_text(encoding="utf-8")
    found = list(pattern.finditer(text))[number]
    seen = "".join(f"{line.rstrip()}\n" for line in seen.splitlines())
    if os.environ.get("UPDATE_GOLDEN"):
        README.write_text(text[: found.start("shown")] + seen + text[found.end("shown") :], encoding="utf-8")
        return
    assert seen == found["shown"]


COMMANDS = COMMAND.findall(README.read_text(encoding="utf-8"))


@pytest.mark.parametrize("number", range(len(COMMANDS)))
def test_readme_commands_print_the_shown_output(number: int) -> None:
    ran = stager(*COMMANDS[number][0].split())
    assert (ran.status, ran.err) == (0, "")
    _compare(COMMAND, ran.out, number)


def test_readme_python_example_runs_in_ten_lines() -> None:
    found = PYTHON.search(README.read_text(encoding="utf-8"))
    assert found is not None
    assert len(found["code"].splitlines()) <= 10
    out = io.StringIO()
    with redirect_stdout(out):
        exec(compile(found["code"], "README.md", "exec"), {})
    _compare(PYTHON, out.getvalue())


def test_readme_lists_every_command() -> None:
    listed = set(re.findall(r"^\| `stager (\w+)", README.read_text(encoding="utf-8"), re.MULTILINE))
    offered = set(re.findall(r"^  ([a-z]+)  +\w", stager("--help").out.partition("Commands:")[2], re.MULTILINE))
    assert listed == offered
    assert offered


def test_scenarios_state_that_their_numbers_are_invented() -> None:
    scenarios = sorted((ROOT / "configs").glob("*.toml"))
    assert len(scenarios) == 4
    assert all("invented" in path.read_text(encoding="utf-8") for path in scenarios)
