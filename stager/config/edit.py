"""Changes to the text of a configuration that leave all other lines and comments as they are."""

from __future__ import annotations

import re
import tomllib

from stager.config.lines import Path, head_path, key_lines, statements
from stager.config.toml import show_key

_ONE_LINE = re.compile(r"""(?P<key>\s*[^=\[\]{}"']+?\s*=\s*)(?P<value>.*?)(?P<rest>\s*(?:#[^"']*)?)$""")


def put(text: str, path: Path, value: str) -> str:
    """Text with the TOML text `value` at `path`: in its line, else at the end of its table, else in a new table.

    Elements of [[…]] are counted from 0 in `path`; one behind the last is begun. The result is to be checked against
    what was meant: a line this cannot read is left as it is.
    """
    lines = text.splitlines()
    known = key_lines(text)
    if path in known:
        found = _ONE_LINE.match(lines[known[path] - 1])
        if found:
            lines[known[path] - 1] = _aligned(f"{found['key']}{value}", found["rest"], found.start("rest"))
        return _joined(lines)
    key = f"{show_key(str(path[-1]))} = {value}"
    end = _end(lines, known, path[:-1])
    if end is None:
        return _joined([*lines, *_new(known, path[:-1]), key])
    return _joined([*lines[:end], key, *lines[end:]])


def comment_out(text: str, path: Path) -> str:
    """Text with a table and those within it as comments."""
    lines = text.splitlines()
    spans = [span for span in _spans(lines) if span[2][: len(path)] == path]
    for start, end, _ in spans:
        lines[start:end] = [_as_comment(line) for line in lines[start:end]]
    return _joined(lines)


def _aligned(said: str, rest: str, column: int) -> str:
    """A comment stays in its column where there is room."""
    comment = rest.lstrip()
    width = column + len(rest) - len(comment)
    return f"{said:<{width - 1}} {comment}" if comment else said


def remove(text: str, path: Path) -> str:
    """Text without the line of a key."""
    lines = text.splitlines()
    number = key_lines(text).get(path)
    return text if number is None else _joined([*lines[: number - 1], *lines[number:]])


def _joined(lines: list[str]) -> str:
    return "\n".join(lines) + "\n"


def _new(known: dict[Path, int], table: Path) -> list[str]:
    """Heads that begin a table; elements of an array before it that are not there yet are begun empty."""
    name = ".".join(show_key(part) for part in table if isinstance(part, str))
    if not isinstance(table[-1], int):
        return ["", f"[{name}]"]
    have = sum((*table[:-1], number) in known for number in range(table[-1]))
    return ["", f"[[{name}]]"] * (table[-1] + 1 - have)


def _end(lines: list[str], known: dict[Path, int], table: Path) -> int | None:
    """Where the keys of a table end; None where it has no head of its own."""
    if not table:
        first = min((start for start, _, path in _spans(lines) if path), default=len(lines))
        return _last_said(lines, 0, first)
    for start, end, path in _spans(lines):
        if path == table:
            return _last_said(lines, start, end)
    return None


def _last_said(lines: list[str], start: int, end: int) -> int:
    """Behind the last line that says something: comments behind it belong to what follows."""
    while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
        end -= 1
    return end


def _spans(lines: list[str]) -> list[tuple[int, int, Path]]:
    """First line, line behind the last and path of each table that has a head; the file's top has path ()."""
    heads: list[tuple[int, Path]] = [(0, ())]
    counts: dict[Path, int] = {}
    for number, statement in statements("\n".join(lines)):
        if statement.lstrip().startswith("["):
            new = statement.lstrip().startswith("[[")
            heads.append((number - 1, head_path(tomllib.loads(statement), counts, new=new)))
    ends = [start for start, _ in heads[1:]] + [len(lines)]
    return [(start, end, path) for (start, path), end in zip(heads, ends, strict=True)]


def _as_comment(line: str) -> str:
    return f"# {line}" if line.strip() and not line.lstrip().startswith("#") else line
