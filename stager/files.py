"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stager.errors import InputError


def write_whole(path: Path, text: str) -> None:
    """Write a text file: a temporary file beside it, then a rename. Raises InputError where that is not possible."""
    write_bytes(path, text.encode())


def check_place(path: Path) -> None:
    """Find out before long work whether a file can be written there. Raises InputError where it cannot.

    Leaves nothing behind: folders that are missing are made when the file is written.
    """
    there = next(folder for folder in path.absolute().parents if folder.exists())
    with _said(path):
        handle, name = tempfile.mkstemp(dir=there, prefix=f".{path.name}.")
        os.close(handle)
        Path(name).unlink()


def write_bytes(path: Path, content: bytes) -> None:
    """As `write_whole`, for bytes."""
    with _said(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(_mode(path))
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise


@contextmanager
def _said(path: Path) -> Iterator[None]:
    """Turns what the system has against writing `path` into an InputError."""
    if path.is_dir():
        raise InputError("is a folder", where=str(path), hint="name a file in it")
    try:
        yield
    except OSError as error:
        raise InputError(f"cannot be written: {(error.strerror or str(error)).lower()}", where=str(path)) from error


def put_back(path: Path, content: bytes | None) -> None:
    """A file as it was: with this content, or not there (None)."""
    if content is None:
        path.unlink(missing_ok=True)
    else:
        write_bytes(path, content)


def _mode(path: Path) -> int:
    """Permissions of the file that is replaced, else those of any new file."""
    try:
        return path.stat().st_mode & 0o777
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask
