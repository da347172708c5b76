"""Which line of a TOML file each key stands on. Needed only once something is wrong."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

Path = tuple[str | int, ...]


def key_lines(text: str) -> dict[Path, int]:
    """Line, counted from 1, of each table head, key and array element, by path; `text` is right TOML.

    tomllib keeps no positions, but it reads a single statement as well as a file: each one is read alone.
    """
    found: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    for line, statement in statements(text):
        tree = tomllib.loads(statement)
        if statement.lstrip().startswith("["):
            table = head_path(tree, counts, new=statement.lstrip().startswith("[["))
            paths = [table[:end] for end in range(1, len(table) + 1)]
        else:
            paths = [(*table, *path) for path in _paths(tree)]
        for path in paths:
            found.setdefault(path, line)
    return found


def statements(text: str) -> Iterator[tuple[int, str]]:
    """Each head, or key with its value, and the line it begins on."""
    gathered: list[str] = []
    start = 0
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), start=1):
        if not gathered:
            if not line.strip() or line.lstrip().startswith("#"):
                continue
            start = number
        gathered.append(line)
        statement = "\n".join(gathered)
        try:
            tomllib.loads(statement)
        except tomllib.TOMLDecodeError:
            continue
        yield start, statement
        gathered = []


def head_path(tree: dict[str, Any], counts: dict[Path, int], *, new: bool) -> Path:
    """Path of the table that a head begins; `counts` has the length of each array of tables so far."""
    path: Path = ()
    level: Any = tree
    while level:
        if isinstance(level, list):
            level = level[0]
            continue
        ((key, level),) = level.items()
        path = (*path, key)
        last = not level or level == [{}]
        if last and new:
            counts[path] = counts.get(path, 0) + 1
        if path in counts:
            path = (*path, counts[path] - 1)
    return path


def _paths(value: Any, path: Path = ()) -> Iterator[Path]:
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from _paths(inner, (*path, key))


def line_of(lines: dict[Path, int], path: Path) -> int:
    """Line of `path`, else of the nearest table around it, else the first one."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return 1
