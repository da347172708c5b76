"""Correlated posterior draws of a fit, in a table beside a configuration."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from stager.config.configuration import quantities
from stager.config.errors import Problem, place
from stager.config.tables import File
from stager.errors import InputError
from stager.files import read_beside
from stager.model.arrays import MAX_THROWS, Floats
from stager.units import Measured

_HINT = "the fit that wrote this file wrote the table beside it; leave `draws` out to do without"
_SIZE = 16_000_000
"""Greatest size of a table of draws [bytes]."""


def draws_place(path: Path) -> Path:
    """Return the path of the draws of a configuration at `path`."""
    return path.with_name(f"{path.stem}.draws.csv")


def read_draws(path: Path, text: str, file: File, raw: Mapping[str, Any]) -> Mapping[str, Floats] | None:
    """Return the draws by key, each of shape (draws,), in SI; None where the file names no table.

    Raises InputErrors where the table cannot be used.
    """
    if file.draws is None:
        return None
    try:
        content = read_beside(path, file.draws, _SIZE)
        if file.draws_sha256 not in (None, hashlib.sha256(content).hexdigest()):
            raise ValueError("its hash is not draws_sha256: one of the two files was replaced")
        return parse_draws(content.decode("utf-8-sig"), quantities(file, raw))
    except (OSError, ValueError, InputError) as error:
        reason = error.strerror if isinstance(error, OSError) else getattr(error, "message", error)
        reason = "it is not text in UTF-8" if isinstance(error, UnicodeDecodeError) else reason
        message = f'"{file.draws}" cannot be used ({reason})'
        raise place(str(path), text, [Problem(("draws",), message, _HINT)]) from None


def parse_draws(text: str, known: Mapping[str, Measured]) -> dict[str, Floats]:
    """Return draws by key, each of shape (draws,), from a table in SI whose heads are keys.

    known: quantities of the configuration, each with its range.

    Raises
    ------
    ValueError
        Where a cell is wrong; the message names the cell and does not repeat its content.
    """
    rows = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if len(rows) < 2:
        raise ValueError("it holds no draws")
    if len(rows) - 1 > MAX_THROWS:
        raise ValueError(f"it holds more than {MAX_THROWS} draws")
    keys = [key.strip() for key in rows[0][1].split(",")]
    unknown = [str(column) for column, key in enumerate(keys, 1) if key not in known]
    if unknown:
        raise ValueError(f"no quantity of this configuration heads column {', '.join(unknown[:5])}")
    if len(set(keys)) < len(keys):
        raise ValueError("two columns have the same head")
    table = np.array([_cells(number, row, len(keys)) for number, row in rows[1:]])
    for column, key in enumerate(keys):
        outside = ~known[key].holds(table[:, column])
        if outside.any():
            number = rows[1 + int(np.argmax(outside))][0]
            raise ValueError(f"line {number}, column {column + 1} is outside the range of {key}")
    return {key: np.ascontiguousarray(table[:, column]) for column, key in enumerate(keys)}


def _cells(number: int, row: str, count: int) -> list[float]:
    cells = row.split(",", count)
    if len(cells) != count:
        raise ValueError(f"line {number} has {'more' if len(cells) > count else 'fewer'} cells than heads ({count})")
    try:
        values = [float(cell) if len(cell) < 40 else math.nan for cell in cells]
    except ValueError:
        raise ValueError(f"line {number} holds a cell that is not a number") from None
    if not all(map(math.isfinite, values)):
        raise ValueError(f"line {number} holds a number that is not finite")
    return values


def show_draws(draws: Mapping[str, Floats], note: str = "") -> str:
    """Return the text of a table for `parse_draws`, with `note` as comments above it."""
    head = [f"# {line}" for line in note.splitlines()]
    rows = np.stack([draws[key] for key in draws], axis=-1)
    return "\n".join([*head, ",".join(draws), *(",".join(f"{cell:.10g}" for cell in row) for row in rows)]) + "\n"
