"""Whether a killed bench keeps every throw: python -m tests.benchmarks.kills [throws] [kills]."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.test_killed import kill_and_go_on


def main(throws: int = 200, kills: int = 20) -> None:
    """Enter the throws, kill, and say that all were kept."""
    with tempfile.TemporaryDirectory() as folder:
        kill_and_go_on(Path(folder), throws, kills)
    print(f"{throws} throws, {kills} kills: none lost, none doubled")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
