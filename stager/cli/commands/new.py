"""`stager new`."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.files import write_new
from stager.cli.session import Session
from stager.report.answer import Answer

NAMES = ("launcher.toml", "throws.csv")
Directory = Annotated[Path, typer.Argument(help="Directory to write to.", show_default=False)]


def new(session: Session, dir: Directory) -> Answer:
    """Write a starting configuration and an empty throws table."""
    from stager.report import new as report

    templates = files("stager.cli") / "templates"
    texts = {dir / name: (templates / name).read_text(encoding="utf-8") for name in NAMES}
    write_new(texts)
    return report.answer([str(path) for path in texts])
