"""Correlated draws that a fit has left beside a configuration."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from stager.config.machine import File
from stager.config.problem import Problem, place
from stager.config.values import quantities
from stager.model.arrays import Floats

_HINT = "the fit that wrote this file wrote the table beside it; leave `draws` out to do without"


def read_draws(path: Path, text: str, file: File, raw: Mapping[str, Any]) -> Mapping[str, Floats] | None:
    """Draws by key, each of shape (draws,), in SI; None where the file names no table.

    Raises InputErrors where the table cannot be used.
    """
    if file.draws is None:
        return None
    try:
        table = (path.parent / file.draws).read_text(encoding="utf-8-sig")
        return parse_draws(table, quantities(file, raw).keys())
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        message = f'"{file.draws}" cannot be used ({reason})'
        raise place(str(path), text, [Problem(("draws",), message, _HINT)]) from None


def parse_draws(text: str, known: Any) -> dict[str, Floats]:
    """Comma separated, heads are keys of the configuration, cells are in SI. Raises ValueError."""
    rows = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if len(rows) < 2:
        raise ValueError("it holds no draws")
    keys = [key.strip() for key in rows[0][1].split(",")]
    unknown = [key for key in keys if key not in known]
    if unknown:
        raise ValueError("no such quantity: " + ", ".join(unknown))
    if len(set(keys)) < len(keys):
        raise ValueError("a key stands in two heads")
    table = np.array([_cells(number, row, len(keys)) for number, row in rows[1:]])
    return {key: np.ascontiguousarray(table[:, column]) for column, key in enumerate(keys)}


def _cells(number: int, row: str, count: int) -> list[float]:
    cells = row.split(",")
    if len(cells) != count:
        raise ValueError(f"line {number} has {len(cells)} cells for {count} heads")
    try:
        values = [float(cell) for cell in cells]
    except ValueError:
        raise ValueError(f"line {number} holds what is no number") from None
    if not all(map(math.isfinite, values)):
        raise ValueError(f"line {number} holds what is no finite number")
    return values


def show_draws(draws: Mapping[str, Floats], note: str = "") -> str:
    """The table that `parse_draws` reads; `note` stands above it as comments."""
    head = [f"# {line}" for line in note.splitlines()]
    rows = np.stack([draws[key] for key in draws], axis=-1)
    return "\n".join([*head, ",".join(draws), *(",".join(f"{cell:.10g}" for cell in row) for row in rows)]) + "\n"
