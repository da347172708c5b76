"""Write a configuration back with changed values. What is there already keeps its lines and comments."""

from __future__ import annotations

import copy
import hashlib
import os
import tomllib
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path as FilePath
from typing import Any

from stager.config.configuration import Configuration
from stager.config.draws import draws_place, show_draws
from stager.config.edit import comment_out, put, remove
from stager.config.kinds import Kind
from stager.config.lines import Path
from stager.config.load import understand
from stager.config.read import read_tree
from stager.config.toml import show_tree, show_value
from stager.errors import InputError, InputErrors, StagerError
from stager.files import is_stream, marked_content, write_all
from stager.model.arrays import Floats
from stager.units import format_quantity, parse_stiffness, stiffness_unit

SCHEMA = "#:schema"
DRAWS_KEYS = ("draws", "draws_sha256")

__all__ = ["changed", "save", "with_values"]


def save(
    configuration: Configuration,
    path: FilePath,
    changes: Mapping[str, str],
    speeds: Sequence[str] = (),
    note: str = "",
    drop: Sequence[str] = (),
    draws: Mapping[str, Floats] | None = None,
    force: bool = False,
) -> list[FilePath]:
    """Write `configuration` to `path` with `changes` and planned set `speeds`, one text a stage.

    changes: TOML text of a value by dotted key ("contact.stiffness", "stages.2.crush"); speeds: as in a file, without
    quotes ("17 m/s"); stages behind the last of them become comments. note: comments for the head of the file;
    drop: dotted keys that go; draws: of a fit, in SI by key, instead of those that the configuration has; force:
    replace files that this program did not write.
    Draws stand in a table next to the file, whose hash the file carries; a pipe takes the configuration alone.
    Returns the files. They appear whole, both or none, and load again. Raises InputError where they cannot be written,
    StagerError where a change would spoil the file.
    """
    path, beside = FilePath(path), draws_place(FilePath(path))
    contents: dict[FilePath, bytes] = {}
    if is_stream(path):
        drop = [*drop, *(key for key in DRAWS_KEYS if key in configuration.raw)]
    elif draws:
        words = "Equally likely draws after a fit, SI units."
        contents[beside] = marked_content(show_draws(draws, words).encode())
    elif configuration.file.draws is not None and path.parent.resolve() != configuration.path.parent.resolve():
        contents[beside] = marked_content((configuration.path.parent / configuration.file.draws).read_bytes())
    if beside in contents:
        sha256 = hashlib.sha256(contents[beside]).hexdigest()
        changes = {**changes, "draws": show_value(beside.name), "draws_sha256": show_value(sha256)}
        note += f" Draws that keep what belongs together are in {beside.name}." if draws else ""
    contents[path] = changed(configuration, path, changes, speeds, note, drop).encode()
    write_all(contents, force=force)
    return [path, *(other for other in contents if other != path)]


PLACES = "keys are dotted, as in limits.stages or stage.wheel.radius; single stages are counted from 1: stages.2.crush"


def with_values(configuration: Configuration, values: Mapping[str, object]) -> Configuration:
    """The configuration with other values by dotted key, as TOML would hold them. Raises InputErrors as `load` does."""
    text, tree = configuration.text, copy.deepcopy(dict(configuration.raw))
    for key, value in values.items():
        _check_place(configuration, tree, key)
        text = put(text, _path(key), show_value(value))
        _set(tree, _path(key), value)
    text = text if _says(text, tree) else show_tree(tree)
    return understand(configuration.path, text, hashlib.sha256(text.encode()).hexdigest())


def changed(
    configuration: Configuration,
    path: FilePath,
    changes: Mapping[str, str],
    speeds: Sequence[str] = (),
    note: str = "",
    drop: Sequence[str] = (),
) -> str:
    """The text that `save` writes to `path`."""
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
        text = remove(text, _path(key))
        _remove(tree, _path(key))
    for key, value in wanted.items():
        place = _path(key)
        text = put(text, place, value)
        _set(tree, place, tomllib.loads(f"value = {value}")["value"])
    head = "".join(f"# {line}\n".replace("# \n", "#\n") for line in note.splitlines())
    if text.startswith(SCHEMA):
        # Editors look for it in the first line.
        first, _, text = text.partition("\n")
        head = f"{SCHEMA} {_moved(first.removeprefix(SCHEMA).strip(), configuration.path, path)}\n{head}"
    return _checked(configuration, path, head, text, tree)


def _stiffness(configuration: Configuration, wanted: Mapping[str, str]) -> str:
    """The stiffness as a force per length to the wanted exponent: the same number in another unit."""
    exponent = Kind("", "1.5").read(tomllib.loads(f"value = {wanted['contact.exponent']}")["value"])
    stiffness = configuration.file.contact.stiffness
    if "contact.stiffness" in wanted:
        stiffness = parse_stiffness(tomllib.loads(f"value = {wanted['contact.stiffness']}")["value"], "40 kN/m")
    unit = stiffness_unit(exponent.value)
    return show_value(format_quantity(stiffness.value, stiffness.standard_uncertainty, unit))


def _checked(configuration: Configuration, path: FilePath, head: str, text: str, tree: dict[str, Any]) -> str:
    """`text` where it says what `tree` says, else a plain writing of `tree`; it must load."""
    whole = head + text
    if not _says(whole, tree):
        whole = head + show_tree(tree)
    try:
        understand(path, whole, configuration.sha256, with_draws=False)
    except InputErrors as error:
        raise StagerError(f"the changed configuration would not load: {error}") from error
    return whole


def _says(text: str, tree: Mapping[str, Any]) -> bool:
    try:
        return read_tree(FilePath(), text) == tree
    except InputErrors:
        return False


def _path(key: str) -> Path:
    return tuple(int(part) - 1 if part.isdigit() else part for part in key.split("."))


def _check_place(configuration: Configuration, tree: Mapping[str, Any], key: str) -> None:
    """Raise InputError where no value can stand at `key`: below a value, or far beyond the last of a list."""
    holder: Any = tree
    path = _path(key)
    for part, below in pairwise((*path, path[-1])):
        empty: Any = [] if isinstance(below, int) else {}
        if isinstance(holder, dict) and isinstance(part, str):
            holder = holder.get(part, empty)
        elif isinstance(holder, list) and isinstance(part, int) and 0 <= part <= len(holder):
            holder = holder[part] if part < len(holder) else {}
        else:
            raise InputError("is no place for a value", where=f"{configuration.path}: {key}", hint=PLACES)


def _set(tree: dict[str, Any], path: Path, value: Any) -> None:
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


def _remove(tree: dict[str, Any], path: Path) -> None:
    holder: Any = tree
    for part in path[:-1]:
        holder = holder[part]
    holder.pop(path[-1], None)


def _moved(place: str, old: FilePath, new: FilePath) -> str:
    """A path that is relative to one file, relative to another."""
    return os.path.relpath(old.parent.resolve() / place, new.parent.resolve()).replace(os.sep, "/")
