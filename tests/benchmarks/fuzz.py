"""Fuzz the reader and the commands: python -m tests.benchmarks.fuzz [--seconds S] [--seed N] [-o DIR].

Each altered file is read in this process with warnings as errors. A file that gives neither an answer nor errors at its
lines is stored in DIR by its number; add it to tests/fuzz/corpus once its cause is understood.
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

from tests.fuzz import commands, configurations, tables

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
    ask.add_argument("-o", "--output", type=Path, default=Path("found"))
    given = ask.parse_args()
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


def _timed(name: str, path: Path) -> tuple[str, float]:
    began = time.process_time()
    return KINDS[name].judge(path), time.process_time() - began


if __name__ == "__main__":
    main()
