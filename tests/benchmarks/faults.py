"""Run every writing command under every fault of the disk: python -m tests.benchmarks.faults [command ...].

Each command that writes is run once for every system call of its writer and every kind of fault (full disk, I/O error,
short write, kill); results are computed once. After every run the inputs are unchanged, the outputs are complete, old
or absent, the status is 0 if the output exists and 2 with the file's name otherwise, and the next run leaves no
temporary file.
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

import stager
from stager.api.documents import CardResult, Report
from stager.api.loaded import Loaded
from tests.cli.run import TEMPLATE, Completed
from tests.cli.run import stager as run
from tests.files.faults import KINDS, dead_process, fault

SPEEDS = (4.1, 5, 5.9, 6.8, 7.7, 8.6, 9.5, 10.2, 10.8, 11.2, 11.4, 11.5)
THROWS = "wheel_1 [rpm],exit_speed [m/s]\n" + "".join(
    f"{1000 + 250 * number},{speed}\n" for number, speed in enumerate(SPEEDS)
)
COMMANDS = {
    "plan": (["plan", "c.toml", "-o", "out.toml", "--draws", "20"], ("out.toml",)),
    "plan --resume": (["plan", "c.toml", "-o", "out.toml", "--draws", "20", "--resume", "parts"], ("out.toml",)),
    "fit": (["fit", "c.toml", "t.csv", "-o", "out.toml"], ("out.toml", "out.draws.csv")),
    "report": (["report", "c.toml", "-o", "out.html"], ("out.html",)),
    "card": (["card", "c.toml", "-o", "out.pdf"], ("out.pdf",)),
    "draw": (["draw", "c.toml", "-o", "out.svg"], ("out.svg",)),
    "bench": (["bench", "c.toml", "t.csv", "--no-fit"], ()),
}
TYPED = "2500 9.05\n2600 9.25\nundo\n2700 9.55\nquit\n"
TYPED_ROWS = [("2500", "9.05"), ("2600", "9.25"), ("2700", "9.55")]
MAX_CALLS = 200


@contextmanager
def cached_results() -> Iterator[None]:
    """Cache results, so that only writing is repeated."""
    known: dict[Any, Any] = {}

    def once(name: str, function: Any) -> Any:
        def ask(self: Any, *given: Any, **named: Any) -> Any:
            key = (name, getattr(self, "sha256", type(self).__name__))
            if named.get("resume") is not None:
                return function(self, *given, **named)
            if key not in known:
                known[key] = function(self, *given, **named)
            return known[key]

        return ask

    with ExitStack() as stack:
        for owner, names in ((Loaded, ("plan", "fit", "report", "card")), (Report, ("html",)), (CardResult, ("pdf",))):
            for name in names:
                stack.enter_context(mock.patch.object(owner, name, once(name, getattr(owner, name))))
        yield


def run_with_faults(name: str, folder: Path, pid: int) -> Counter[str]:
    """Run a command with each fault at each call; return the counts of its outcomes, raise on a violation."""
    arguments, outputs = COMMANDS[name]
    arguments = [str(folder / given) if "." in given or given == "parts" else given for given in arguments]
    inputs = {"c.toml": TEMPLATE.read_bytes(), "t.csv": THROWS.encode()}

    def prepare(old: bool) -> None:
        for path in folder.iterdir():
            path.unlink()
        for file, content in {**inputs, **(whole if old else {})}.items():
            (folder / file).write_bytes(content)

    def command() -> Completed:
        return run(*arguments, typed=TYPED if name == "bench" else "")

    whole: dict[str, bytes] = {}
    prepare(old=False)
    first = command()
    assert first.status == 0, first
    whole = {file: (folder / file).read_bytes() for file in outputs}
    ended = Counter[str]()
    for old in (False, True) if outputs else (False,):
        for kind in KINDS:
            for at in range(1, MAX_CALLS):
                prepare(old)
                done = None
                with fault(kind, at, pid) as faulty:
                    done = command()
                ended["killed" if done is None else f"status {done.status}"] += 1
                where = f"{name}, {kind} at call {at}: {done}"
                _check(folder, inputs, whole, old, done, where, bench=name == "bench")
                assert command().status == 0, where
                left = {path.name for path in folder.iterdir()} - {*inputs, *whole, "parts"}
                assert not left, f"{where}: {left} left"
                if faulty.count < at:
                    break
            else:
                raise AssertionError(f"{name}: more than {MAX_CALLS} calls")
    return ended


def _check(
    folder: Path, inputs: dict[str, bytes], whole: dict[str, bytes], old: bool, done: Completed | None, where: str, *,
    bench: bool,
) -> None:  # fmt: skip
    for file, content in inputs.items():
        if not (bench and file == "t.csv"):
            assert (folder / file).read_bytes() == content, where
    found = {file: (folder / file).read_bytes() if (folder / file).exists() else None for file in whole}
    assert all(content in (whole[file], None) for file, content in found.items()), where
    if bench:
        _check_table(folder / "t.csv", done, where)
    if done is None:
        return
    assert "Traceback" not in done.err, where
    assert done.status in (0, 2), where
    if done.status == 2 and not bench:
        assert any(str(folder / file) in done.err.replace("\n", "") for file in ("", *whole)), where
        assert old or not any(found.values()), where
    if done.status == 0:
        assert None not in found.values(), where


def _check_table(path: Path, done: Completed | None, where: str) -> None:
    """Check that the old rows are unchanged and exactly the confirmed rows were added."""
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = [line.split(",") for line in lines]
    heads = rows[0]
    speeds = [(row[heads.index("wheel_1 [rpm]")], row[heads.index("exit_speed [m/s]")]) for row in rows[1:]]
    before = [tuple(line.split(",")) for line in THROWS.splitlines()[1:]]
    assert speeds[: len(before)] == before, where
    added = speeds[len(before) :]
    assert all(row in TYPED_ROWS for row in added), where
    if done is not None:
        assert added == _confirmed_rows(done.out), where


def _confirmed_rows(out: str) -> list[tuple[str, str]]:
    """Return the rows that bench confirmed."""
    answers = [line for line in out.splitlines() if re.match(r"(not )?kept|removed:", line)]
    kept: list[tuple[str, str]] = []
    typed = iter(TYPED_ROWS)
    for answer in answers:
        if answer.startswith("removed:"):
            kept.pop()
        elif answer.startswith("kept"):
            kept.append(next(typed))
        else:
            next(typed)
    return kept


def main(names: list[str]) -> None:
    """Run the commands and print the counts of their outcomes."""
    stager.load(TEMPLATE)
    pid = dead_process()
    with cached_results():
        for name in names or COMMANDS:
            with tempfile.TemporaryDirectory() as folder:
                ended = run_with_faults(name, Path(folder), pid)
            print(f"{name}: {sum(ended.values())} faults, {dict(ended)}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
