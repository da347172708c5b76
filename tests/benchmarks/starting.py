"""Start-up time: help and a configuration error, against importing the libraries they need."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.timing import Line, medians

NEEDED = "import typer, pydantic, rich.console, numpy"
BROKEN = "[projectile]\nshape = 'bal'\nmass = '20 gramm'\n"


def lines() -> list[Line]:
    """Return the rows of the table."""
    with tempfile.TemporaryDirectory() as folder:
        broken = Path(folder) / "broken.toml"
        broken.write_text(BROKEN)
        needed, helping, refusing = medians(
            lambda: _run(folder, "-c", NEEDED), lambda: _run(folder, "-m", "stager", "--help"),
            lambda: _run(folder, "-m", "stager", "check", str(broken)), rounds=9, clock=time.perf_counter,
        )  # fmt: skip
    against = "importing typer, pydantic, rich, numpy"
    return [
        Line("stager --help", helping, against, helping / needed, "≤ 1.3", helping <= 1.3 * needed),
        Line("a configuration error", refusing, against, refusing / needed, "≤ 3", refusing <= 3 * needed),
    ]


def _run(folder: str, *arguments: str) -> None:
    """Run Python with byte code cached in `folder`, like that of an installed package."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = folder
    subprocess.run([sys.executable, *arguments], capture_output=True, check=False, env=environment)
