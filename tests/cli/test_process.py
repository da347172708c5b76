"""The command line as a process: imports, pipes, signals, exit statuses, terminal width and encoding."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.run import ROOT, TEMPLATE, restore_interrupt_signal, stager

BALL = str(TEMPLATE)
SLOW_LOAD = """
import sys, time, stager.api
from stager.cli import main
def load(*given):
    print(flush=True)
    time.sleep(60)
stager.api.load = load
sys.argv[1:] = ["plan", "a.toml"]
main()
"""
ENVIRONMENT = {key: value for key, value in os.environ.items() if key not in ("FORCE_COLOR", "CLICOLOR_FORCE")}


def _run(*arguments: str, **changed: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "stager", *arguments],
        capture_output=True, text=True, check=False, env={**ENVIRONMENT, **changed}, encoding="utf-8",
    )  # fmt: skip


@pytest.fixture
def broken(tmp_path: Path) -> str:
    path = tmp_path / "bad.toml"
    path.write_text('[projectile]\nmass = "18 s"\n', encoding="utf-8")
    return str(path)


NO_LIBRARIES = ("scipy.optimize", "scipy.stats", "matplotlib", "dask", "stager.fit")
NO_MODEL = (*NO_LIBRARIES, "stager.constraints", "stager.optimise")
NO_PLANNER = (*(name for name in NO_MODEL if name != "stager.optimise"), "stager.optimise.planner")
NO_FIT = (*NO_LIBRARIES, "stager.optimise.planner")


@pytest.mark.parametrize(
    "arguments, absent",
    [
        (["--help"], NO_MODEL), (["plan", "--help"], NO_MODEL), (["schema"], NO_MODEL), (["plan", "broken"], NO_MODEL),
        (["throw", BALL, "--speed", "10"], NO_PLANNER), (["check", BALL, "--speed", "10"], NO_FIT),
    ],
)  # fmt: skip
def test_command_imports_only_what_it_needs(arguments: list[str], absent: tuple[str, ...], broken: str) -> None:
    given = [broken if argument == "broken" else argument for argument in arguments]
    code = (
        "import sys\nfrom stager.cli import main\n"
        f"sys.argv = ['stager', *{given!r}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"sys.stderr.write(str([name for name in {absent!r} if name in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.endswith("[]")


def test_planning_imports_neither_solvers_nor_plots_nor_fits() -> None:
    code = (
        "import sys, stager.api.design_results, stager.report.plan, stager.optimise.planner\n"
        "print([n for n in ('scipy.optimize', 'scipy.stats', 'matplotlib', 'stager.fit') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_json_output_is_one_document() -> None:
    done = _run("throw", BALL, "--speed", "10", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["stages"][0]["wheel_speed_m_s"] == 10


def test_closed_pipe_gives_status_zero() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "stager", "throw", BALL, "--speed", "10", "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=ENVIRONMENT,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        message = process.stderr.read()
    assert (process.returncode, message) == (0, b"")


def test_interruption_gives_status_130() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", SLOW_LOAD],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=ENVIRONMENT, preexec_fn=restore_interrupt_signal,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        process.stdout.readline()
        process.send_signal(signal.SIGINT)
        _, message = process.communicate()
    assert (process.returncode, message) == (130, "interrupted; nothing was written\n")


HOOKED = """
import sys, time
class Hook:
    def find_spec(self, name, path=None, target=None):
        if name == {name!r}:
            {do}
sys.meta_path.insert(0, Hook())
from stager.cli import main
sys.argv[1:] = {arguments!r}
main()
"""


@pytest.mark.parametrize("name", ["stager.cli.process", "stager.errors", "typer", "stager.cli.commands.new", "numpy"])
def test_interruption_during_imports_gives_status_130(name: str) -> None:
    code = HOOKED.format(name=name, do="print(flush=True); time.sleep(60)", arguments=["throw", BALL, "--speed", "9"])
    with subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=ENVIRONMENT, preexec_fn=restore_interrupt_signal,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        process.stdout.readline()
        process.send_signal(signal.SIGINT)
        _, message = process.communicate()
    assert (process.returncode, message) == (130, "interrupted; nothing was written\n")


@pytest.mark.parametrize("name", ["typer", "numpy", "pydantic", "pint", "rich"])
def test_missing_dependency_is_reported_in_one_line(name: str) -> None:
    code = HOOKED.format(name=name, do=f"raise ImportError('no {name}')", arguments=["throw", BALL, "--speed", "9"])
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=ENVIRONMENT)
    assert (done.returncode, done.stdout) == (70, "")
    assert done.stderr.startswith(f"the installation of stager is incomplete (no {name})")
    assert done.stderr.count("\n") == 1


def _shell(command: str, **changed: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "-c", f"set -o pipefail; stager() {{ '{sys.executable}' -m stager \"$@\"; }}; {command}"],
        capture_output=True, text=True, check=False, env={**ENVIRONMENT, **changed}, cwd=ROOT,
    )  # fmt: skip


THROW = f"stager throw '{BALL}' --speed 10"


@pytest.mark.parametrize(
    ("command", "status"),
    [
        (f"{THROW} > /dev/full", 2), (f"{THROW} --json > /dev/full", 2), ("stager --help > /dev/full", 2),
        ("stager schema > /dev/full", 2), (f"{THROW} >&-", 0), (f"{THROW} <&- >&- 2>&-", 0),
        (f"{THROW} 2> /dev/full", 0), ("stager throw none.toml 2> /dev/full", 2), ("stager throw none.toml 2>&-", 2),
        (f"{THROW} | true", 0), ("stager --help | true", 0), ("stager schema | true", 0),
        (f"stager bench '{BALL}' /dev/null/t.csv < /dev/null", 2),
        (f"echo '3000 11' | stager bench '{BALL}' $(mktemp -d)/t.csv --no-fit > /dev/full", 2),
        (f"echo '3000 11' | stager bench '{BALL}' $(mktemp -d)/t.csv --no-fit | true", 0),
        (f"stager check '{BALL}' --speed 90 >&-", 1),
    ],
)  # fmt: skip
def test_exit_status_with_closed_or_full_streams(command: str, status: int) -> None:
    done = _shell(command)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    if "> /dev/full" in command and "2>" not in command:
        assert done.stderr == "standard output cannot be written: no space left on device\n"


def test_screen_does_not_enter_a_file_if_stdout_is_closed(tmp_path: Path) -> None:
    page = tmp_path / "planned.toml"
    done = _shell(f"stager plan '{BALL}' --draws 0 --set limits.stages=1 -o '{page}' >&-")
    assert done.returncode == 0, done.stderr
    assert "Ladder" not in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("columns", ["0", "1", "20", "-5", "many", "100000"])
def test_any_terminal_width_is_accepted(columns: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    done = stager("throw", BALL, "--speed", "10")
    assert (done.status, done.err) == (0, "")
    assert "…" not in done.out
    assert stager("throw", "--help").status == 0


def test_piped_output_has_no_escape_codes() -> None:
    assert "\x1b" not in _run("throw", BALL, "--speed", "10").stdout


@pytest.mark.parametrize("arguments", [["throw", BALL, "--speed", "10"], ["schema"], ["new", "hütte"]])
def test_output_is_ascii_on_an_ascii_terminal(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = _run(*arguments, PYTHONIOENCODING="ascii", PYTHONPATH=str(ROOT))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()


def test_plan_does_not_depend_on_the_number_of_threads() -> None:
    given = ("plan", str(ROOT / "configs" / "streamer.toml"), "--draws", "40", "--set", "limits.stages=2", "--json")
    alone, shared = stager(*given, "--workers", "1"), stager(*given)
    assert (alone.status, alone.err, shared.err) == (0, "", "")
    assert shared.out == alone.out


SWALLOWED = """
import os, signal, time
from stager.cli import process
# Processes in the background ignore it from the start.
signal.signal(signal.SIGINT, signal.default_int_handler)
process.raise_interrupts()
try:
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(60)
except KeyboardInterrupt:
    pass
try:
    time.sleep(60)
except KeyboardInterrupt:
    print("again")
process.end_interrupts()
time.sleep(1.5 * process.AGAIN)
print("no more")
"""


def test_an_interruption_that_a_library_drops_comes_again() -> None:
    done = subprocess.run([sys.executable, "-c", SWALLOWED], capture_output=True, text=True, check=False, timeout=100)
    assert (done.stdout.split("\n"), done.returncode) == (["again", "no more", ""], 0)
