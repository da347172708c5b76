"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from stager.errors import InputError


def write_new(texts: Mapping[Path, str]) -> None:
    """Write files that must not exist yet. Raises InputError before anything is written."""
    for path in texts:
        if path.exists():
            raise InputError("exists already and is left as it is", where=str(path), hint="choose another directory")
    for path, text in texts.items():
        write(path, text)


def write(path: Path, text: str) -> None:
    """Write a text file: a temporary file beside it, then a rename. Raises InputError where that is not possible."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            Path(name).chmod(0o666 & ~_umask())
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", where=str(path)) from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
