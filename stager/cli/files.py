"""Files of one's own that must not be there yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from stager.errors import InputError
from stager.files import write_whole as write

__all__ = ["write", "write_new"]


def check_new(paths: Sequence[Path]) -> None:
    """Raises InputError where one of the files exists."""
    for path in paths:
        if path.exists():
            raise InputError("exists already and is left as it is", where=str(path), hint="choose another directory")


def write_new(texts: Mapping[Path, str]) -> None:
    """Write files that must not exist yet. Raises InputError before anything is written."""
    check_new(list(texts))
    for path, text in texts.items():
        write(path, text)
