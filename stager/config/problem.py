"""One thing that is wrong with a file, and the line that it stands on."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from stager.config.toml import show_key
from stager.errors import InputError, InputErrors

KeyPath = tuple[str | int, ...]
_TOKEN = re.compile(
    r'''(?P<string>"{3}(?:[^"\\]|\\[\s\S]|"(?!""))*+"{3,5}|'{3}(?:[^']|'(?!''))*+'{3,5}'''
    r'''|"(?:[^"\\\n]|\\[^\n])*+"|'[^'\n]*+')'''
    r"|(?P<comment>#[^\n]*+)|(?P<end>\n)|(?P<open>[\[{])|(?P<close>[\]}])|(?P<other>[^\"'#\n\[\]{}]++|[\s\S])"
)


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line, counted from 1, of each table head, key and array element, by path; `text` is right TOML.

    tomllib keeps no positions, but it reads a single statement as well as a file: each one is read alone.
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


def head_path(tree: dict[str, Any], counts: dict[KeyPath, int], *, new: bool) -> KeyPath:
    """Return the path of the table that a head begins; `counts` has the length of each array of tables so far."""
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


@dataclass(frozen=True, slots=True)
class Problem:
    """path: the key it is about; others: further keys it was judged by; hint: what would be right; first: whether it
    is said before all others, as others may follow from it."""

    path: KeyPath
    message: str
    hint: str = ""
    others: tuple[KeyPath, ...] = ()
    first: bool = False

    def rests_on(self, damaged: Iterable[KeyPath]) -> bool:
        """Return whether it was judged by a key that is itself wrong: then it may not be true."""
        return any(_meet(mine, theirs) for theirs in damaged for mine in (self.path, *self.others))


def _meet(a: KeyPath, b: KeyPath) -> bool:
    """One path leads to the other."""
    short = min(len(a), len(b))
    return a[:short] == b[:short]


def dotted(path: KeyPath) -> str:
    """Return a path as people write it, elements of lists counted from 1."""
    return ".".join(str(part + 1) if isinstance(part, int) else show_key(part) for part in path)


def place(name: str, text: str, problems: Iterable[Problem]) -> InputErrors:
    """Return the problems as errors with their lines in the file `name`, each once, in line order but for the first."""
    lines = key_lines(text)
    keyed = ((not p.first, line_of(lines, p.path), dotted(p.path), p.message, p.hint) for p in problems)
    return InputErrors(
        [
            InputError(message, where=f"{name}:{line}: {key}" if key else f"{name}:{line}", hint=hint)
            for _, line, key, message, hint in sorted(dict.fromkeys(keyed))
        ]
    )
