"""Change the text of a configuration, keeping its lines and comments, and write it."""

from __future__ import annotations

import copy
import hashlib
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from stager.config.configuration import Configuration
from stager.config.csv_tables import SIZE, draws_place, show_draws
from stager.config.field_types import QuantityKind
from stager.config.load import read_tree, understand
from stager.config.toml import KeyPath, head_path, key_lines, key_path, show_key, show_tree, show_value, statements
from stager.errors import InputError, InputErrors, StagerError, printable
from stager.files import is_stream, marked_content, read_beside, write_all
from stager.model.arrays import Floats
from stager.units import format_quantity, parse_stiffness, stiffness_unit

_ONE_LINE = re.compile(r"""(?P<key>\s*[^=\[\]{}"']+?\s*=\s*)(?P<value>.*?)(?P<rest>\s*(?:#[^"']*)?)$""")


def put(text: str, path: KeyPath, value: str) -> str:
    """Return the text with the TOML text `value` at `path`: in its line, at the end of its table, or in a new table.

    Elements of [[…]] are counted from 0 in `path`; one behind the last is added. A line that cannot be parsed here is
    not changed: callers compare the result with the intended tree.
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


def comment_out(text: str, path: KeyPath) -> str:
    """Return the text with a table and the tables within it commented out."""
    lines = text.splitlines()
    spans = [span for span in _spans(lines) if span[2][: len(path)] == path]
    for start, end, _ in spans:
        lines[start:end] = [_as_comment(line) for line in lines[start:end]]
    return _joined(lines)


def _aligned(said: str, rest: str, column: int) -> str:
    """Return a line with its comment in the same column where there is room."""
    comment = rest.lstrip()
    width = column + len(rest) - len(comment)
    return f"{said:<{width - 1}} {comment}" if comment else said


def remove(text: str, path: KeyPath) -> str:
    """Return the text without the line of a key."""
    lines = text.splitlines()
    number = key_lines(text).get(path)
    return text if number is None else _joined([*lines[: number - 1], *lines[number:]])


def _joined(lines: list[str]) -> str:
    return "\n".join(lines) + "\n"


def _new(known: dict[KeyPath, int], table: KeyPath) -> list[str]:
    """Return the head lines of a new table, with empty elements of an array before it where they are missing."""
    name = ".".join(show_key(part) for part in table if isinstance(part, str))
    if not isinstance(table[-1], int):
        return ["", f"[{name}]"]
    have = sum((*table[:-1], number) in known for number in range(table[-1]))
    return ["", f"[[{name}]]"] * (table[-1] + 1 - have)


def _end(lines: list[str], known: dict[KeyPath, int], table: KeyPath) -> int | None:
    """Return where the keys of a table end; None where it has no head of its own."""
    if not table:
        first = min((start for start, _, path in _spans(lines) if path), default=len(lines))
        return _last_said(lines, 0, first)
    for start, end, path in _spans(lines):
        if path == table:
            return _last_said(lines, start, end)
    return None


def _last_said(lines: list[str], start: int, end: int) -> int:
    """Return the index behind the last line with content: comments behind it belong to the next table."""
    while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
        end -= 1
    return end


def _spans(lines: list[str]) -> list[tuple[int, int, KeyPath]]:
    """Return first line, line behind the last and path of each table with a head; the top of the file has path ()."""
    heads: list[tuple[int, KeyPath]] = [(0, ())]
    counts: dict[KeyPath, int] = {}
    for number, statement in statements("\n".join(lines)):
        if statement.lstrip().startswith("["):
            new = statement.lstrip().startswith("[[")
            heads.append((number - 1, head_path(tomllib.loads(statement), counts, new=new)))
    ends = [start for start, _ in heads[1:]] + [len(lines)]
    return [(start, end, path) for (start, path), end in zip(heads, ends, strict=True)]


def _as_comment(line: str) -> str:
    return f"# {line}" if line.strip() and not line.lstrip().startswith("#") else line


SCHEMA = "#:schema"
DRAWS_KEYS = ("draws", "draws_sha256")

__all__ = ["changed", "save", "with_values"]


def save(
    configuration: Configuration,
    path: Path,
    changes: Mapping[str, str],
    speeds: Sequence[str] = (),
    note: str = "",
    drop: Sequence[str] = (),
    draws: Mapping[str, Floats] | None = None,
    force: bool = False,
) -> list[Path]:
    """Write `configuration` to `path` with changes, and return the files written.

    Draws go to a table beside the file, which has their hash, and lists of parts are copied where it is in another
    folder; to a pipe only the configuration is written. All files are replaced together, and can be loaded again.

    Parameters
    ----------
    configuration : Configuration
    path : Path
    changes : mapping
        TOML text of values by dotted key ("contact.stiffness", "stages.2.crush").
    speeds : sequence of str
        Set speed of each stage without quotes ("17 m/s"); stages behind the last one are commented out.
    note : str
        Comment at the head of the file.
    drop : sequence of str
        Dotted keys to remove.
    draws : mapping, optional
        Draws of a fit in SI by key, in place of the configuration's.
    force : bool
        Replace files that this program did not write.

    Raises
    ------
    InputError
        Where a file cannot be written.
    StagerError
        Where a change would damage the file.
    """
    path, beside = Path(path), draws_place(Path(path))
    contents: dict[Path, bytes] = {}
    if draws is None and configuration.set_since:
        draws = configuration.draws or {}
    if is_stream(path) or draws == {}:
        drop = [*drop, *(key for key in DRAWS_KEYS if key in configuration.raw)]
    elif draws:
        words = "Equally likely draws after a fit, SI units."
        contents[beside] = marked_content(show_draws(draws, words).encode())
    elif configuration.file.draws is not None and path.parent.resolve() != configuration.path.parent.resolve():
        contents[beside] = marked_content((configuration.path.parent / configuration.file.draws).read_bytes())
    if not is_stream(path) and path.parent.resolve() != configuration.path.parent.resolve():
        for name in configuration.lists:
            content = read_beside(configuration.path, name, SIZE)
            contents[path.parent / name] = marked_content(content)
    if beside in contents:
        sha256 = hashlib.sha256(contents[beside]).hexdigest()
        changes = {**changes, "draws": show_value(beside.name), "draws_sha256": show_value(sha256)}
        note += f" Draws of the fit, with their correlations, are in {beside.name}." if draws else ""
    contents[path] = changed(configuration, path, changes, speeds, note, drop).encode()
    write_all(contents, force=force)
    return [path, *(other for other in contents if other != path)]


PLACES = "keys are dotted, as in limits.stages or stage.wheel.radius; single stages are counted from 1: stages.2.crush"


def with_values(configuration: Configuration, values: Mapping[str, object]) -> Configuration:
    """Return the configuration with other values by dotted key. Raises InputErrors as `load` does."""
    text, tree = configuration.text, copy.deepcopy(dict(configuration.raw))
    for key, value in values.items():
        _check_place(configuration, tree, key)
        shown = show_value(value)
        try:
            _set(tree, key_path(key), tomllib.loads(f"value = {shown}")["value"])
        except tomllib.TOMLDecodeError:
            hint = "text, a number, true or false, a list or a table"
            where = f"{configuration.path}: {key}"
            raise InputErrors([InputError(f"cannot be {printable(shown)}", where=where, hint=hint)]) from None
        text = put(text, key_path(key), shown)
    text = text if _says(text, tree) else show_tree(tree)
    new_table = any(key in values for key in DRAWS_KEYS)
    try:
        found = understand(
            configuration.path, text, hashlib.sha256(text.encode()).hexdigest(), with_draws=new_table
        )  # fmt: skip
    except InputErrors as error:
        raise InputErrors([_without_line(one, configuration, values) for one in error.errors]) from None
    if new_table or configuration.draws is None:
        return found
    # A fit's draws of a value that is set now would stand in its place.
    kept = {key: drawn for key, drawn in configuration.draws.items() if not any(_within(key, own) for own in values)}
    left_out = configuration.set_since or len(kept) < len(configuration.draws)
    return replace(found, draws=kept or None, set_since=left_out)


def _within(key: str, table: str) -> bool:
    """Whether a dotted key is `table` or stands in it."""
    return key == table or key.startswith(f"{table}.")


def _without_line(error: InputError, configuration: Configuration, values: Mapping[str, object]) -> InputError:
    """Return an error of a value, or of a table, that the file does not have without a line of the file."""
    key = error.where.rpartition(": ")[2]
    new = key not in configuration.raw and any(name.startswith(f"{key}.") for name in values)
    if key in values or new:
        return InputError(error.message, where=f"{configuration.path}: {key}", hint=error.hint)
    return error


def changed(
    configuration: Configuration,
    path: Path,
    changes: Mapping[str, str],
    speeds: Sequence[str] = (),
    note: str = "",
    drop: Sequence[str] = (),
) -> str:
    """Return the text that `save` writes to `path`."""
    planned = {f"stages.{number}.speed": show_value(speed) for number, speed in enumerate(speeds, start=1)}
    wanted = planned | dict(changes)
    if "contact.exponent" in wanted:
        wanted["contact.stiffness"] = _stiffness(configuration, wanted)
    text = configuration.text.lstrip("\ufeff").replace("\r\n", "\n")
    tree = copy.deepcopy(dict(configuration.raw))
    if speeds:
        for number in reversed(range(len(speeds), len(configuration.file.stages))):
            text = comment_out(text, ("stages", number))
        tree["stages"] = tree.get("stages", [])[: len(speeds)]
    for key in drop:
        text = remove(text, key_path(key))
        _remove(tree, key_path(key))
    for key, value in wanted.items():
        place = key_path(key)
        text = put(text, place, value)
        _set(tree, place, tomllib.loads(f"value = {value}")["value"])
    head = "".join(f"# {line}\n".replace("# \n", "#\n") for line in note.splitlines())
    if text.startswith(SCHEMA):
        # Editors look for it in the first line.
        first, _, text = text.partition("\n")
        head = f"{SCHEMA} {_moved(first.removeprefix(SCHEMA).strip(), configuration.path, path)}\n{head}"
    return _checked(configuration, path, head, text, tree)


def _stiffness(configuration: Configuration, wanted: Mapping[str, str]) -> str:
    """Return the stiffness as a force per length to the wanted exponent: the same number in another unit."""
    exponent = QuantityKind("", "1.5").read(tomllib.loads(f"value = {wanted['contact.exponent']}")["value"])
    stiffness = configuration.file.contact.stiffness
    if "contact.stiffness" in wanted:
        stiffness = parse_stiffness(tomllib.loads(f"value = {wanted['contact.stiffness']}")["value"], "40 kN/m")
    unit = stiffness_unit(exponent.value)
    return show_value(format_quantity(stiffness.value, stiffness.standard_uncertainty, unit))


def _checked(configuration: Configuration, path: Path, head: str, text: str, tree: dict[str, Any]) -> str:
    """Return `text` where it parses to `tree`, else `tree` written out; raise StagerError where neither loads."""
    whole = head + text
    if not _says(whole, tree):
        whole = head + show_tree(tree)
    try:
        understand(path, whole, configuration.sha256, with_draws=False, folder=configuration.path.parent)
    except InputErrors as error:
        raise StagerError(f"the changed configuration would not load: {error}") from error
    return whole


def _says(text: str, tree: Mapping[str, Any]) -> bool:
    try:
        return read_tree(Path(), text) == tree
    except InputErrors:
        return False


def _check_place(configuration: Configuration, tree: Mapping[str, Any], key: str) -> None:
    """Raise InputError where `key` cannot hold a value: it is below a value, or beyond the end of a list."""
    holder: Any = tree
    path = key_path(key)
    for part, below in pairwise((*path, path[-1])):
        empty: Any = [] if isinstance(below, int) else {}
        if isinstance(holder, dict) and isinstance(part, str):
            holder = holder.get(part, empty)
        elif isinstance(holder, list) and isinstance(part, int) and 0 <= part <= len(holder):
            holder = holder[part] if part < len(holder) else {}
        else:
            raise InputError("is not a key that can hold a value", where=f"{configuration.path}: {key}", hint=PLACES)


def _set(tree: dict[str, Any], path: KeyPath, value: Any) -> None:
    holder: Any = tree
    for part, below in pairwise(path):
        empty: Any = [] if isinstance(below, int) else {}
        if isinstance(part, int):
            while len(holder) <= part:
                holder.append({})
            holder = holder[part]
        else:
            holder = holder.setdefault(part, empty)
    holder[path[-1]] = value


def _remove(tree: dict[str, Any], path: KeyPath) -> None:
    holder: Any = tree
    for part in path[:-1]:
        holder = holder[part]
    holder.pop(path[-1], None)


def _moved(place: str, old: Path, new: Path) -> str:
    """Return a path relative to the folder of `old` as one relative to the folder of `new`."""
    return os.path.relpath(old.parent.resolve() / place, new.parent.resolve()).replace(os.sep, "/")
