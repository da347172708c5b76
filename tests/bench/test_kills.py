"""A bench session that is killed at random moments neither loses nor duplicates a throw."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from tests.bench.terminal import Terminal
from tests.cli.run import TEMPLATE

OPENING = r"(\d+) throws? in throws\.csv(.*\n)+?or help, undo, quit\.\n> "


def _bench(folder: Path) -> Terminal:
    return Terminal(["bench", str(TEMPLATE), "throws.csv", "--no-fit"], folder)


def _rows(folder: Path) -> list[list[str]]:
    heads, *rows = [line.split(",") for line in _lines(folder) if not line.startswith("#")]
    places = [heads.index(name) for name in ("throw", "wheel_1 [rpm]", "exit_speed [m/s]")]
    return [[row[place] for place in places] for row in rows]


def enter_throws_between_kills(folder: Path, throws: int, kills: int) -> None:
    """Enter `throws` throws while bench is killed `kills` times; check that the table holds each of them once."""
    script = [(1000 + 10 * (k % 40), 4 + k % 7) for k in range(throws)]
    chance = random.Random(7)
    kill_at = sorted(chance.sample(range(1, throws), kills))
    at, killed = 0, 0
    while at < throws:
        with _bench(folder) as bench:
            found = int(bench.expect(OPENING)[1])
            # A confirmed throw is in the table; one typed just before the kill may be.
            assert found in ({at, at + 1} if killed else {0})
            at = found
            while at < throws:
                bench.send(f"{script[at][0]} {script[at][1]}\n")
                if killed < kills and at >= kill_at[killed]:
                    killed += 1
                    time.sleep(chance.random() * 0.02)
                    bench.kill()
                    break
                at += 1
                bench.expect(rf"kept {at}: .*\n")
            else:
                bench.send("quit\n")
                assert bench.end() == 0
    assert killed == kills
    assert _rows(folder) == [[str(k + 1), str(u), str(v)] for k, (u, v) in enumerate(script)]


def test_each_throw_is_stored_once_across_kills(tmp_path: Path) -> None:
    # tests/benchmarks/kills.py runs a longer sequence.
    enter_throws_between_kills(tmp_path, throws=30, kills=3)


def test_all_lines_of_a_pasted_block_are_stored(tmp_path: Path) -> None:
    with _bench(tmp_path) as bench:
        bench.expect(OPENING)
        bench.send("".join(f"{1000 + k} {5 + k % 9}\n" for k in range(150)))
        bench.expect("kept 150: ")
        bench.kill()
    assert [row[1] for row in _rows(tmp_path)] == [str(1000 + k) for k in range(150)]


@pytest.mark.parametrize("how", ["\x03", "\x04"])
def test_leaving_reports_the_stored_throws(tmp_path: Path, how: str) -> None:
    with _bench(tmp_path) as bench:
        bench.expect(OPENING)
        bench.send("3000 11.6\n")
        bench.expect("kept 1: 3000 rpm -> 11.6 m/s")
        bench.send(how)
        bench.expect("kept, 1 throw in throws.csv" if how == "\x03" else "1 throw in throws.csv, 1 of them entered now")
        assert bench.end() == (130 if how == "\x03" else 0)


def test_curve_follows_a_throw_and_typing_meanwhile_is_stored_at_once(tmp_path: Path) -> None:
    (tmp_path / "throws.csv").write_text(
        "wheel_1 [rpm],exit_speed [m/s]\n2000,6.9\n2600,9.0\n3200,11.1\n", encoding="utf-8"
    )
    with Terminal(["bench", str(TEMPLATE), "throws.csv"], tmp_path, few=True) as bench:
        bench.expect(OPENING)
        bench.send("3800 13.1\n")
        bench.expect("kept 4: ")
        bench.send("4000 13.7\n")
        bench.expect("kept 5: ")
        bench.expect(r"5 throws: stage 1 grips up to \d+ rpm \([\d.]+ m/s\), 95 %: \d+ to \d+\.")
        bench.expect(r"o: measured\n(.*\n)+.*\[=*\^=*\]")
        bench.expect(r"(Throw next at \d+ rpm|Enough is known)")
        bench.kill()
    assert len(_lines(tmp_path)) == 6


def test_throw_entered_before_a_kill_during_the_fit_is_stored(tmp_path: Path) -> None:
    with Terminal(["bench", str(TEMPLATE), "throws.csv"], tmp_path) as bench:
        bench.expect(OPENING)
        bench.send("2400 7.4\n3000 9.2\n4200 12.4\n")
        bench.expect("kept 3: ")
        time.sleep(0.7)
        bench.send("4800 11.5\n")
        bench.expect("kept 4: ")
        bench.kill()
    with _bench(tmp_path) as bench:
        assert bench.expect(OPENING)[1] == "4"
        bench.send("undo\n")
        bench.expect("removed: 4,,4800,")
        bench.kill()
    assert [row[1] for row in _rows(tmp_path)] == ["2400", "3000", "4200"]


def test_deleted_table_is_reported_and_the_session_continues(tmp_path: Path) -> None:
    with _bench(tmp_path) as bench:
        bench.expect(OPENING)
        bench.send("2400 7.4\n")
        bench.expect("kept 1: ")
        whole = (tmp_path / "throws.csv").read_text(encoding="utf-8")
        (tmp_path / "throws.csv").unlink()
        for line in ("3000 9.2", "undo", "show"):
            bench.send(f"{line}\n")
            bench.expect("there is no such file")
        (tmp_path / "throws.csv").write_text(whole, encoding="utf-8")
        bench.send("3000 9.2\n")
        bench.expect("kept 2: ")
        bench.kill()
    assert len(_rows(tmp_path)) == 2


def _lines(folder: Path) -> list[str]:
    return (folder / "throws.csv").read_text(encoding="utf-8").splitlines()
