"""A wrong file made right with examples, so that what depends on its right keys can still be judged."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from stager.config.lines import Path
from stager.config.machine import File
from stager.config.models import example

_TRIES = 4


def repair(tree: Mapping[str, Any], found: Iterable[tuple[Path, str]]) -> tuple[File | None, list[Path]]:
    """The file with each wrong key replaced by an example or taken out, and the paths that were touched.

    found: path and kind of pydantic's findings. None where the tree is beyond repair.
    """
    whole: dict[str, Any] = copy.deepcopy(dict(tree))
    touched: list[Path] = []
    for _ in range(_TRIES):
        for path, kind in found:
            touched.append(path)
            _mend(whole, path, kind)
        try:
            return File.model_validate(whole), touched
        except ValidationError as error:
            found = findings(error)
    return None, touched


def findings(error: ValidationError) -> list[tuple[Path, str]]:
    """Path in the file and kind of each finding."""
    return [(in_file(item["loc"]), item["type"]) for item in error.errors(include_url=False)]


def in_file(loc: tuple[int | str, ...]) -> Path:
    """A finding's path as it stands in the file: the name of a chosen law is not a key."""
    path: list[int | str] = []
    for part in loc:
        if path and path[-1] in ("friction", "rail_friction") and path[0] == "contact" and part in _LAWS:
            continue
        path.append(part)
    return tuple(path)


_LAWS = ("constant", "falling", "bell", "rising", "tabulated")


def _mend(tree: dict[str, Any], path: Path, kind: str) -> None:
    holder: Any = tree
    for part in path[:-1]:
        holder = holder[part]
    if kind == "extra_forbidden":
        holder.pop(path[-1], None)
    elif kind == "too_long":
        holder[path[-1]] = holder[path[-1]][:1]
    else:
        holder[path[-1]] = example(path)
