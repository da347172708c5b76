"""Faults at every system call of a write: each file has its old or its new content, and confirmed data stay."""

from __future__ import annotations

import io
import os
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

import stager
from stager.cli.interactive import BenchSession
from stager.config import load, save
from stager.errors import InputError
from stager.files import append, clear_stale, is_ours, marked_content, write_all, write_whole
from stager.fit.table.writer import TableWriter, blank, open_table
from stager.parallel import ChunkCache
from tests.cli.run import TEMPLATE
from tests.files.faults import KINDS, Faulty, dead_process, fault

LAUNCHER = stager.load(TEMPLATE).scenario.launcher
MAX_CALLS = 60


@pytest.fixture(scope="module")
def pid() -> int:
    return dead_process()


def _contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def _fault_at_each_call(kind: str, pid: int, prepare: Callable[[], None], run: Callable[[], None]) -> Iterator[Faulty]:
    """Run once for each system call, with the fault at that call."""
    for at in range(1, MAX_CALLS):
        prepare()
        with fault(kind, at, pid) as faulty, suppress(InputError):
            run()
        yield faulty
        if faulty.count < at:
            return
    raise AssertionError("more system calls than MAX_CALLS")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("there", [True, False])
def test_several_files_are_written_together_or_not_at_all(kind: str, there: bool, pid: int, tmp_path: Path) -> None:
    old = {name: marked_content(b"old\n" * 3) for name in ("a.csv", "b.csv")} if there else {}
    new = {name: b"new " + name.encode() + b"\n" for name in ("a.csv", "b.csv")}
    whole = {name: marked_content(content) for name, content in new.items()}

    def prepare() -> None:
        for path in tmp_path.iterdir():
            path.unlink()
        for name, content in old.items():
            (tmp_path / name).write_bytes(content)

    failed = 0
    for faulty in _fault_at_each_call(
        kind, pid, prepare, lambda: write_all({tmp_path / name: content for name, content in new.items()})
    ):
        clear_stale(tmp_path)
        found = _contents(tmp_path)
        if "kill" in kind:
            assert all(found.get(name) in (old.get(name), whole[name]) for name in whole)
            assert set(found) <= set(whole)
        elif kind == "short":
            assert found == whole
        else:
            assert found in (old, whole)
        failed += found != whole
        assert faulty.count or found == whole
    assert (failed > 3) == (kind != "short")


@pytest.mark.parametrize("kind", KINDS)
def test_line_is_appended_whole_or_not_at_all(kind: str, pid: int, tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    before, line = "a,b\n1,11.75", "2,12.25"

    def prepare() -> None:
        path.write_text(before, encoding="utf-8")

    found = set()
    for faulty in _fault_at_each_call(kind, pid, prepare, lambda: append(path, line)):
        text = path.read_text(encoding="utf-8")
        found.add(text)
        confirmed = not faulty.dead
        if text != f"{before}\n{line}\n":
            kept, _, torn = text.removeprefix(before).partition("\n")
            assert not kept
            assert not torn or torn.startswith("#")
            assert "kill" in kind or not torn
            assert not confirmed or kind != "short"
    assert f"{before}\n{line}\n" in found
    assert kind == "short" or len(found) > 1


@pytest.mark.parametrize("kind", KINDS)
def test_confirmed_throws_survive_every_fault(kind: str, pid: int, tmp_path: Path) -> None:
    path = tmp_path / "throws.csv"
    kept = [["", "", "3000", "", "11.75", "", "é"], ["", "", "3100", "", "12.25", "", ""]]
    rows = [",".join(row) for row in kept]

    def prepare() -> None:
        for other in tmp_path.iterdir():
            other.unlink()
        path.write_text(blank(2), encoding="utf-8")
        promised.clear()

    promised: list[str] = []

    def run() -> None:
        with open_table(path, LAUNCHER, 2) as (writer, _):
            for row, text in zip(kept, rows, strict=True):
                writer.append(row)
                promised.append(text)
            if writer.undo() is not None:
                promised.pop()

    for faulty in _fault_at_each_call(kind, pid, prepare, run):
        with open_table(path, LAUNCHER, 2) as (writer, _):
            writer.throws()
        found = [line for line in path.read_text(encoding="utf-8").splitlines() if line[0] != "#"][1:]
        assert sorted(path.name for path in tmp_path.iterdir()) == ["throws.csv"]
        if faulty.dead:
            # The row in progress at the kill may be in the table or not.
            assert found in (promised, rows[: len(promised) + 1], rows[: len(promised) - 1], rows[:1])
            assert found[: len(promised) - 1] == promised[:-1]
        else:
            assert found == promised


@pytest.mark.parametrize("kind", KINDS)
def test_bench_reports_a_throw_as_kept_only_if_it_is_stored(kind: str, pid: int, tmp_path: Path) -> None:
    path, output = tmp_path / "throws.csv", io.StringIO()
    typed = ["3000 11.75", "3100 12.25"]

    def prepare() -> None:
        path.write_text("note,build,wheel_1 [rpm],wheel_2 [rpm],exit_speed [m/s],supply [V]\n", encoding="utf-8")
        output.seek(0)
        output.truncate()

    def run() -> None:
        with open_table(path, LAUNCHER, 2) as (writer, _):
            BenchSession(writer=writer, watch=None, out=output).take_all(io.StringIO("\n".join(typed)))

    for faulty in _fault_at_each_call(kind, pid, prepare, run):
        if faulty.dead:
            continue
        answers = [line for line in output.getvalue().splitlines() if re.match("(not )?kept", line)]
        found = path.read_text(encoding="utf-8")
        for text, answer in zip(typed, answers, strict=False):
            rpm, speed = text.split()
            assert (f",{rpm},,{speed}," in found) == answer.startswith("kept")


@pytest.mark.parametrize("kind", KINDS)
def test_cached_chunks_are_whole_or_absent(kind: str, pid: int, tmp_path: Path) -> None:
    import numpy as np

    path, values = tmp_path / "parts.jsonl", np.array([1.5, 2.5])

    def prepare() -> None:
        path.unlink(missing_ok=True)

    def run() -> None:
        cache = ChunkCache(path)
        cache.put("a", values)
        cache.put("b", 2 * values)

    for faulty in _fault_at_each_call(kind, pid, prepare, run):
        cache = ChunkCache(path)
        for key, factor in (("a", 1), ("b", 2)):
            found = cache.get(key)
            assert found is None or np.array_equal(found, factor * values)
            assert found is not None or faulty.count >= faulty.at


@pytest.mark.parametrize("kind", ["ENOSPC", "kill"])
def test_configuration_and_its_draws_stay_consistent(kind: str, pid: int, tmp_path: Path) -> None:
    import numpy as np

    configuration = load(TEMPLATE)
    path = tmp_path / "fitted.toml"

    def write(crush: float) -> None:
        save(configuration, path, {}, draws={"stage.crush": np.array([crush, 0.0041])})

    for _ in _fault_at_each_call(kind, pid, lambda: write(0.004), lambda: write(0.003)):
        clear_stale(tmp_path)
        assert sorted(path.name for path in tmp_path.iterdir()) == ["fitted.draws.csv", "fitted.toml"]
        assert all(is_ours(path) for path in tmp_path.iterdir())
        try:
            found = load(path)
        except InputError as error:
            message = f"{kind}: {error}"
            assert re.match("kill: .*draws_sha256", message)
        else:
            assert found.draws is not None
            assert found.draws["stage.crush"][0] in (0.003, 0.004)


def test_only_stale_temporary_files_are_removed(tmp_path: Path) -> None:
    mine = tmp_path / ".stager-00000000-1-00000000.tmp"
    mine.write_text("", encoding="utf-8")
    write_whole(tmp_path / "a.csv", "1\n")
    assert mine.exists()
    os.utime(mine, (0, 0))
    write_whole(tmp_path / "a.csv", "2\n")
    assert not mine.exists()


def test_second_writer_of_a_table_is_refused_until_the_first_closes(tmp_path: Path) -> None:
    path, link = tmp_path / "throws.csv", tmp_path / "link.csv"
    link.symlink_to(path)
    with open_table(path, LAUNCHER, 2) as (writer, _):
        message = rf"another stager \(process {os.getpid()} on "
        with pytest.raises(InputError, match=message), open_table(link, LAUNCHER, 2):
            pass
        writer.append(["", "", "3000", "", "11.75", "", ""])
    with open_table(link, LAUNCHER, 2) as (other, _):
        assert isinstance(other, TableWriter)
        other.append(["", "", "3100", "", "12", "", ""])
        other.undo()
    assert link.is_symlink()
    assert path.read_text(encoding="utf-8").splitlines()[3:] == [",,3000,,11.75,,"]
