"""A bench whose terminal is killed again and again loses no throw, and doubles none."""

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
    lines = (folder / "throws.csv").read_text(encoding="utf-8").splitlines()
    heads, *rows = [line.split(",") for line in lines if not line.startswith("#")]
    places = [heads.index(name) for name in ("throw", "wheel_1 [rpm]", "exit_speed [m/s]")]
    return [[row[place] for place in places] for row in rows]


def kill_and_go_on(folder: Path, throws: int, kills: int) -> None:
    """Enter so many throws into a bench that is killed so often, and check that none is lost and none doubled."""
    script = [(1000 + 10 * (k % 40), 4 + k % 7) for k in range(throws)]
    chance = random.Random(7)
    deadly = sorted(chance.sample(range(1, throws), kills))
    at, killed = 0, 0
    while at < throws:
        with _bench(folder) as bench:
            found = int(bench.expect(OPENING)[1])
            # One that was typed and not yet answered may be in or not; one that was answered is in.
            assert found in ({at, at + 1} if killed else {0})
            at = found
            while at < throws:
                bench.send(f"{script[at][0]} {script[at][1]}\n")
                if killed < kills and at >= deadly[killed]:
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


def test_no_throw_is_lost_or_doubled_by_kills(tmp_path: Path) -> None:
    # tests/benchmarks/kills.py makes more of them.
    kill_and_go_on(tmp_path, throws=60, kills=6)


def test_a_pasted_block_is_kept_whole(tmp_path: Path) -> None:
    with _bench(tmp_path) as bench:
        bench.expect(OPENING)
        bench.send("".join(f"{1000 + k} {5 + k % 9}\n" for k in range(150)))
        bench.expect("kept 150: ")
        bench.kill()
    assert [row[1] for row in _rows(tmp_path)] == [str(1000 + k) for k in range(150)]


@pytest.mark.parametrize("how", ["\x03", "\x04"])
def test_leaving_says_that_all_is_kept(tmp_path: Path, how: str) -> None:
    with _bench(tmp_path) as bench:
        bench.expect(OPENING)
        bench.send("3000 11.6\n")
        bench.expect("kept 1: 3000 rpm -> 11.6 m/s")
        bench.send(how)
        bench.expect("kept, 1 throw in throws.csv" if how == "\x03" else "1 throw in throws.csv, 1 of them entered now")
        assert bench.end() == (130 if how == "\x03" else 0)


def test_after_a_throw_comes_the_curve_and_throws_typed_meanwhile_are_kept_at_once(tmp_path: Path) -> None:
    (tmp_path / "throws.csv").write_text(
        "wheel_1 [rpm],exit_speed [m/s]\n2000,7.6\n2600,9.9\n3200,12.3\n", encoding="utf-8"
    )
    with Terminal(["bench", str(TEMPLATE), "throws.csv"], tmp_path) as bench:
        bench.expect(OPENING)
        bench.send("3800 14.5\n")
        bench.expect("kept 4: ")
        bench.send("4000 15.1\n")
        bench.expect("kept 5: ")
        bench.expect(r"5 throws: stage 1 grips up to \d+ rpm \([\d.]+ m/s\), 95 %: \d+ to \d+\.")
        bench.expect(r"o: measured\n(.*\n)+.*\[=*\^=*\]")
        bench.expect(r"(Throw next at \d+ rpm|Enough is known)")
        bench.kill()
    assert len(_all(tmp_path)) == 6


def test_a_throw_that_comes_while_the_computing_is_killed_is_kept(tmp_path: Path) -> None:
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
        bench.expect("taken out: 4,,4800,")
        bench.kill()
    assert [row[1] for row in _rows(tmp_path)] == ["2400", "3000", "4200"]


def test_a_table_that_is_spoilt_meanwhile_is_said_and_the_bench_goes_on(tmp_path: Path) -> None:
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


def _all(folder: Path) -> list[str]:
    return (folder / "throws.csv").read_text(encoding="utf-8").splitlines()
