"""Keys and tables that are not known: what they were meant to be, and what is wrong only because of them."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Any

from stager.config.lines import Path
from stager.config.models import homes, known_keys, law_of, list_at, models_at, shown
from stager.config.problem import Problem, dotted
from stager.config.repair import in_file

CUTOFF = 0.6


def meant(found: Iterable[Mapping[str, Any]]) -> dict[Path, bool]:
    """Paths that unknown keys among pydantic's findings should have had, and whether they hold tables: what is
    missing there follows from the unknown key."""
    unknown = [item for item in found if item["type"] == "extra_forbidden"]
    return {path: isinstance(item["input"], dict) for item in unknown if (path := _meant(item["loc"], item["input"]))}


def follows(path: Path, should: Mapping[Path, bool]) -> bool:
    """Whether something missing at `path` is missing because a key was mistyped."""
    return any(path == target or (table and path[: len(target)] == target) for target, table in should.items())


def unknown(loc: Path, value: Any) -> Problem:
    """The problem of an unknown key or table, with what it may have been meant to be."""
    path = in_file(loc)
    if isinstance(value, dict) and (target := _meant(loc, value)):
        return Problem(path, "unknown table", f"did you mean {_head(target)}?", first=True)
    key, near = str(path[-1]), _nearest(loc)
    laws = [law for model in models_at(path[:-1]) if (law := law_of(model)) and key in model.model_fields]
    if laws:
        return Problem(path, "is not a key of this friction law", f'it belongs to law = "{laws[0]}"')
    places = homes(key)
    if places:
        where = " or ".join(f"[{place}]" if place else "the top of the file" for place in places[:3])
        return Problem(path, "unknown key here", f"it belongs to {where}" + (f", or {_did(loc, near)}" if near else ""))
    if near:
        return Problem(path, "unknown key", _did(loc, near))
    return Problem(path, "unknown key", f"known here: {', '.join(known_keys(loc[:-1]))}")


def _nearest(loc: Path) -> str:
    near = difflib.get_close_matches(str(loc[-1]), known_keys(loc[:-1]), n=1, cutoff=CUTOFF)
    return near[0] if near else ""


def _meant(loc: Path, value: Any) -> Path:
    """The path that a mistyped one should have been; () where nothing is near, or it is a key of other tables."""
    places = homes(str(loc[-1]))
    if not places:
        near = _nearest(loc)
        return (*in_file(loc)[:-1], near) if near else ()
    targets: list[Path] = [(*filter(None, place.split(".")), loc[-1]) for place in places]
    tables = [target for target in targets if isinstance(value, dict) and models_at(target)]
    return tables[0] if len(tables) == 1 else ()


def _did(loc: Path, near: str) -> str:
    target = (*in_file(loc)[:-1], near)
    value = shown(target)
    if value:
        return f"did you mean `{near}`, as in {near} = {value}?"
    return f"did you mean {whole(target)}?" if models_at(target) else f"did you mean `{near}`?"


def whole(path: Path) -> str:
    """A table as it is written: its head with the keys that it must have."""
    model = models_at(path)[0]
    needs = [f"{name} = {value}" for name, field in model.model_fields.items()
             if field.is_required() and (value := shown((*path, name)))]  # fmt: skip
    return _head(path) + (f" with {', '.join(needs)}" if needs else "")


def _head(path: Path) -> str:
    """The line that begins a table; an entry of a list has double brackets."""
    name = dotted(tuple(part for part in path if not isinstance(part, int)))
    return f"[[{name}]]" if list_at(path) else f"[{name}]"
