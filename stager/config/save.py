"""Write a configuration back with changed values. What is there already keeps its lines and comments."""

from __future__ import annotations

import os
import re
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

from stager.config.load import Configuration
from stager.errors import StagerError


def save(
    configuration: Configuration, path: Path, changes: Mapping[str, str], speeds: Sequence[str] = (), note: str = ""
) -> None:
    """Write `configuration` to `path` with `changes` and planned set `speeds`, one text a stage.

    changes: TOML text of a value by dotted key; a key whose table is not there yet gets one at the end.
    Written to a temporary file beside `path` and renamed. Raises StagerError where the result would not be TOML.
    """
    lines = configuration.text.splitlines()
    if speeds:
        lines = _set_stages(lines, configuration, speeds)
    for key, value in changes.items():
        lines = _set(lines, key.split("."), value)
    head = [f"# {line}" for line in note.splitlines()]
    text = "\n".join([*head, *lines]) + "\n"
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StagerError(f"the changed configuration would not be TOML: {error}") from error
    write_whole(path, text)


def write_whole(path: Path, text: str) -> None:
    """Write `text` to `path` all or nothing."""
    path = Path(path)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


_HEAD = re.compile(r"^\s*\[(\[?)\s*([^\]]+?)\s*\]?\]")


def _heads(lines: list[str]) -> list[tuple[int, list[str]]]:
    """Line index and path of each table head; array tables are counted from 1 in their paths."""
    counts: dict[str, int] = {}
    heads: list[tuple[int, list[str]]] = [(-1, [])]
    for index, line in enumerate(lines):
        match = _HEAD.match(line)
        if not match:
            continue
        parts = [part.strip().strip('"') for part in match[2].split(".")]
        if match[1]:
            counts[parts[0]] = counts.get(parts[0], 0) + 1
        if parts[0] == "stages":
            parts.insert(1, str(max(counts.get("stages", 1), 1)))
        heads.append((index, parts))
    return heads


def _set(lines: list[str], key: list[str], value: str) -> list[str]:
    heads = _heads(lines)
    ends = [head[0] for head in heads[1:]] + [len(lines)]
    for (start, path), end in zip(heads, ends, strict=True):
        rest = key[len(path) :]
        if key[: len(path)] != path or not rest:
            continue
        pattern = re.compile(rf"^(\s*){re.escape('.'.join(rest))}(\s*)=")
        for index in range(start + 1, end):
            found = pattern.match(lines[index])
            if found:
                comment = _comment(lines[index])
                return [*lines[:index], f"{found[1]}{'.'.join(rest)} = {value}{comment}", *lines[index + 1 :]]
    for (_, path), end in zip(heads, ends, strict=True):
        if path == key[:-1]:
            while end > 0 and not lines[end - 1].strip():
                end -= 1
            return [*lines[:end], f"{key[-1]} = {value}", *lines[end:]]
    head = (
        "[[stages]]"
        if key[0] == "stages" and len(key) == 3
        else f"[{'.'.join(p for p in key[:-1] if not p.isdigit())}]"
    )
    return [*lines, "", head, f"{key[-1]} = {value}"]


def _comment(line: str) -> str:
    outside = re.sub(r'"[^"]*"', lambda m: "x" * len(m[0]), line)
    at = outside.find("#")
    return "" if at < 0 else "   " + line[at:]


def _set_stages(lines: list[str], configuration: Configuration, speeds: Sequence[str]) -> list[str]:
    have = len(configuration.file.stages)
    for number in range(len(speeds) - have):
        lines = [*lines, "", "[[stages]]", f'speed = "{speeds[have + number]}"']
    for number in range(min(have, len(speeds))):
        lines = _set(lines, ["stages", str(number + 1), "speed"], f'"{speeds[number]}"')
    return lines
