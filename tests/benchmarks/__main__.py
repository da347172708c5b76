"""Run the benchmarks and print one table: python -m tests.benchmarks [-o FILE.json] [part ...]."""

from __future__ import annotations

import argparse
import json
import os
import platform
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

from tests.benchmarks.timing import HEADS, Line

PARTS = ("starting", "transits", "sharing", "fitting", "planning", "answers")


def table(lines: list[Line]) -> str:
    """Return the rows as a Markdown table."""
    rows = [HEADS, ("---",) * len(HEADS), *(line.cells() for line in lines)]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


def machine() -> str:
    """Describe the machine."""
    return f"{platform.machine()}, {os.cpu_count()} processors, {platform.system()}, Python {platform.python_version()}"


def main() -> None:
    """Run the given parts, all by default."""
    ask = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    ask.add_argument("parts", nargs="*", metavar="part", help=f"of {', '.join(PARTS)}; all without any")
    ask.add_argument("-o", "--output", type=Path, help="write the lines as JSON")
    given = ask.parse_args()
    lines: list[Line] = []
    for part in given.parts or PARTS:
        run: Callable[[], list[Line]] = import_module(f"tests.benchmarks.{part}").lines
        lines += run()
    print(machine() + "\n")
    print(table(lines))
    if given.output:
        data = {"machine": machine(), "lines": [line.plain() for line in lines]}
        given.output.write_text(json.dumps(data, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
