"""Which line of a TOML file each key stands on. Needed only once something is wrong."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

Path = tuple[str | int, ...]
_TOKEN = re.compile(
    r'''(?P<string>"{3}(?:[^"\\]|\\[\s\S]|"(?!""))*+"{3,5}|'{3}(?:[^']|'(?!''))*+'{3,5}'''
    r'''|"(?:[^"\\\n]|\\[^\n])*+"|'[^'\n]*+')'''
    r"|(?P<comment>#[^\n]*+)|(?P<end>\n)|(?P<open>[\[{])|(?P<close>[\]}])|(?P<other>[^\"'#\n\[\]{}]++|[\s\S])"
)


def key_lines(text: str) -> dict[Path, int]:
    """Line, counted from 1, of each table head, key and array element, by path; `text` is right TOML.

    tomllib keeps no positions, but it reads a single statement as well as a file: each one is read alone.
    """
    text = text.replace("\r\n", "\n")
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
    """Each head, or key with its value, and the line it begins on; `text` is right TOML."""
    start = begin = at = depth = 0
    line = 1
    for kind, part in tokens(text):
        if kind == "end":
            if start and not depth:
                yield start, text[begin:at]
                start = 0
        elif not start and kind != "comment" and part.strip():
            start, begin = line, at
        depth += {"open": 1, "close": -1}.get(kind, 0)
        line += part.count("\n")
        at += len(part)
    if start:
        yield start, text[begin:]


def tokens(text: str) -> Iterator[tuple[str, str]]:
    """Kind and text of each part of a TOML file, in time that grows with its length; also of a file that is none.

    Kinds: "string", "comment", "end" (of a line), "open", "close" (brackets), "other".
    """
    for found in _TOKEN.finditer(text):
        yield str(found.lastgroup), found[0]


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
