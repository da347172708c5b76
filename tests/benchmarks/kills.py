"""Check that bench stores every throw across kills: python -m tests.benchmarks.kills [throws] [kills]."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.test_kills import enter_throws_between_kills


def main(throws: int = 200, kills: int = 20) -> None:
    """Run the sequence of throws and kills; report success."""
    with tempfile.TemporaryDirectory() as folder:
        enter_throws_between_kills(Path(folder), throws, kills)
    print(f"{throws} throws, {kills} kills: each throw stored once")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
