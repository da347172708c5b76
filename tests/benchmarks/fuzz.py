"""Fuzz the reader and the commands: python -m tests.benchmarks.fuzz [--seconds S] [--seed N] [--command] [-o DIR].

Each altered file is read in this process with warnings as errors. A file that gives neither an answer nor errors at its
lines is stored in DIR by its number; add it to tests/fuzz/corpus once its cause is understood. With `--command` each
file is given to a command in a process of its own, whose status, output, processor time and memory are looked at.
"""

from __future__ import annotations

import argparse
import random
import resource
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

from tests.fuzz import commands, configurations, processes, tables

KINDS = {"toml": configurations, "csv": tables, "command": commands}
MAX_SECONDS = {"toml": 5.0, "csv": 5.0, "command": 60.0}
"""Longest time per file [s]."""


def main() -> None:
    """Run until the time is over or `--count` files were read."""
    ask = argparse.ArgumentParser(prog="python -m tests.benchmarks.fuzz", description=__doc__)
    ask.add_argument("--seconds", type=float, default=120.0)
    ask.add_argument("--count", type=int, default=10**9)
    ask.add_argument("--seed", type=int, default=0)
    ask.add_argument("--kind", choices=[*KINDS, "files"], default="files")
    ask.add_argument("--command", action="store_true", help="run `python -m stager` on each")
    ask.add_argument("-o", "--output", type=Path, default=Path("found"))
    given = ask.parse_args()
    if given.command:
        run_commands(given.count, given.seconds, given.seed, given.output)
        return
    warnings.simplefilter("error")
    names = ["toml", "csv"] if given.kind == "files" else [given.kind]
    until, counts, reasons = time.monotonic() + given.seconds, Counter[str](), Counter[str]()
    with tempfile.TemporaryDirectory() as folder:
        # Compile and import first, so that this is not counted as the time of a file.
        configurations.judge(configurations.PLACES[0])
        for number in range(given.count):
            if time.monotonic() > until:
                break
            name = names[number % len(names)]
            path = Path(folder) / f"a.{name}"
            data = KINDS[name].text(random.Random(f"{given.seed} {name} {number}"))
            path.write_bytes(data)
            try:
                outcome, took = _timed(name, path)
                # Repeat once, as the first run may have compiled something.
                if took > MAX_SECONDS[name] and (took := _timed(name, path)[1]) > MAX_SECONDS[name]:
                    raise TimeoutError(f"{took:.1f} s")
            except Exception as error:
                outcome = "FOUND"
                last = traceback.extract_tb(error.__traceback__)[-1]
                reason = f"{type(error).__name__} {Path(last.filename).name}:{last.lineno} {str(error)[:90]}"
                reasons[reason] += 1
                if reasons[reason] == 1:
                    given.output.mkdir(parents=True, exist_ok=True)
                    (given.output / f"{given.seed}-{number}.{name}").write_bytes(data)
                    print(f"{given.seed}-{number}.{name}: {reason}")
            counts[f"{name} {outcome}"] += 1
    print(dict(counts))
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")
    for reason, count in reasons.most_common():
        print(count, reason)


def run_commands(count: int, seconds: float, seed: int, output: Path) -> None:
    """Run `count` altered commands, each in a process of its own; tell outcomes, and the most time and memory used."""
    until, counts = time.monotonic() + seconds, Counter[str]()
    longest, largest = dict[str, float](), 0
    for number in range(count):
        if time.monotonic() > until:
            break
        case = processes.draw(random.Random(f"{seed} process {number}"))
        with tempfile.TemporaryDirectory() as folder:
            try:
                done = processes.run(case, Path(folder))
                largest = max(largest, done.memory)
                outcome = processes.judge(case, done, Path(folder))
                kind = "refused" if outcome == "refused" else case.arguments[0]
                longest[kind] = max(longest.get(kind, 0.0), done.seconds)
            except Exception as error:
                outcome = "FOUND"
                kept = output / f"{seed}-{number}"
                kept.mkdir(parents=True, exist_ok=True)
                for name, data in case.files.items():
                    (kept / name).write_bytes(data)
                (kept / "command").write_text(repr((case.arguments, case.interrupt)) + "\n", encoding="utf-8")
                print(f"{kept.name}: {case.arguments}: {type(error).__name__} {str(error)[:300]!r}", flush=True)
            counts[outcome] += 1
    print(dict(counts))
    print("longest processor time [s]:", {name: round(value, 1) for name, value in sorted(longest.items())})
    print(f"largest resident memory {largest / 2**20:.0f} MiB")


def _timed(name: str, path: Path) -> tuple[str, float]:
    began = time.process_time()
    return KINDS[name].judge(path), time.process_time() - began


if __name__ == "__main__":
    main()
