"""TOML as text: the line of each key, and values, tables and files written out."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

KeyPath = tuple[str | int, ...]
_TOKEN = re.compile(
    r"""(?P<string>"{3}(?:[^"\\]|\\[\s\S]|"(?!""))*+"{3,5}|'{3}(?:[^']|'(?!''))*+'{3,5}"""
    r"""|"(?:[^"\\\n]|\\[^\n])*+"|'[^'\n]*+')"""
    r"|(?P<comment>#[^\n]*+)|(?P<end>\n)|(?P<open>[\[{])|(?P<close>[\]}])|(?P<other>[^\"'#\n\[\]{}]++|[\s\S])"
)


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line, counted from 1, of each table head, key and array element by its path; `text` is valid TOML.

    tomllib keeps no positions: each statement is parsed by itself.
    """
    text = text.replace("\r\n", "\n")
    found: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
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
    """Yield each table head, or key with its value, and its first line; `text` is valid TOML."""
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
    """Yield kind and text of each token of a file, valid TOML or not, in linear time.

    Kinds: "string", "comment", "end" (of a line), "open", "close" (brackets), "other".
    """
    for found in _TOKEN.finditer(text):
        yield str(found.lastgroup), found[0]


def head_path(tree: dict[str, Any], counts: dict[KeyPath, int], *, new: bool) -> KeyPath:
    """Return the path of the table that a head begins; counts: length of each array of tables so far."""
    path: KeyPath = ()
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


def key_path(key: str) -> KeyPath:
    """Return the path of a dotted key, whose numbers count from 1, as in "stages.2.crush"."""
    return tuple(int(part) - 1 if part.isdigit() else part for part in key.split("."))


def _paths(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from _paths(inner, (*path, key))


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int:
    """Return the line of `path`, else of the nearest table around it, else the first one."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return 1


_BARE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")


def show_tree(tree: Mapping[str, Any]) -> str:
    """Return the text of a whole file: keys first, then tables."""
    return "\n".join(_table(tree, ())).strip("\n") + "\n"


def show_key(key: str) -> str:
    """Return a key, in quotes where TOML needs them."""
    return key if key and set(key) <= _BARE else _text(key)


def show_value(value: Any) -> str:
    """Return a value on one line; tables within it are inline."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(show_value, value)) + "]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{show_key(key)} = {show_value(inner)}" for key, inner in value.items()) + "}"
    return repr(value) if isinstance(value, int | float) else str(value)


def _text(value: str) -> str:
    # JSON and TOML have the same escapes, except for DEL.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _table(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    lines = [f"{show_key(key)} = {show_value(value)}" for key, value in table.items() if not _is_table(value)]
    for key, value in table.items():
        name = ".".join(map(show_key, (*path, key)))
        if isinstance(value, Mapping):
            lines += ["", f"[{name}]", *_table(value, (*path, key))]
        elif _is_table(value):
            for item in value:
                lines += ["", f"[[{name}]]", *_table(item, (*path, key))]
    return lines


def _is_table(value: Any) -> bool:
    if isinstance(value, Mapping):
        return True
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)
