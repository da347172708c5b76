"""Which line of a TOML file each key stands on. Needed only once something is wrong."""

from __future__ import annotations

import tomllib
from typing import Any

Path = tuple[str | int, ...]


def key_lines(text: str) -> dict[Path, int]:
    """Line, counted from 1, of each table head, key and array element, by path.

    tomllib keeps no positions: growing prefixes of the file are parsed, and what is new in one stands on its lines.
    """
    found: dict[Path, int] = {}
    lines = text.splitlines()
    start = 0
    for number in range(1, len(lines) + 1):
        try:
            tree = tomllib.loads("\n".join(lines[:number]))
        except tomllib.TOMLDecodeError:
            continue
        for path in _paths(tree):
            found.setdefault(path, start + 1 + _blank(lines[start:number]))
        start = number
    return found


def _blank(lines: list[str]) -> int:
    """How many of the first lines say nothing."""
    for count, line in enumerate(lines):
        if line.strip() and not line.lstrip().startswith("#"):
            return count
    return 0


def _paths(value: Any, path: Path = ()) -> list[Path]:
    paths = [path] if path else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        paths += _paths(inner, (*path, key))
    return paths


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Line of `path`, else of the nearest table around it."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None
