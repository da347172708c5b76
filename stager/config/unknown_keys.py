"""Keys and tables that are not known: what they were meant to be, and what is wrong only because of them."""

from __future__ import annotations

import copy
import difflib
import tomllib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from stager.config.problem import KeyPath, Problem, dotted
from stager.config.tables import File

Model = type[BaseModel]
TEXT = '"text"'


def models_at(path: KeyPath) -> list[Model]:
    """Models that the table at `path` may be; a law's name after "friction" chooses among its own."""
    models: list[Model] = [File]
    for part in path:
        if isinstance(part, int):
            continue
        fields = [model.model_fields[part] for model in models if part in model.model_fields]
        if fields:
            models = [inner for field in fields for inner in _inner(field.annotation)]
        else:
            models = [model for model in models if law_of(model) == part]
    return models


def law_of(model: Model) -> str | None:
    """Return the friction law that a model describes."""
    field = model.model_fields.get("law")
    return None if field is None else str(get_args(field.annotation)[0])


def known_keys(path: KeyPath) -> list[str]:
    """Return the keys of the table at `path`."""
    return sorted({key for model in models_at(path) for key in model.model_fields})


def homes(key: str) -> list[str]:
    """Tables that have the key."""
    return _tables_by_key().get(key, [])


@lru_cache(maxsize=1)
def _tables_by_key() -> dict[str, list[str]]:
    found: dict[str, dict[str, None]] = {}

    def look(path: tuple[str, ...], model: Model) -> None:
        for key in model.model_fields:
            found.setdefault(key, {})[".".join(path)] = None

    _visit(File, (), look)
    return {key: list(places) for key, places in found.items()}


def _visit(model: Model, path: tuple[str, ...], look: Any) -> None:
    look(path, model)
    for name, field in model.model_fields.items():
        for inner in _inner(field.annotation) if name != "stages" else ():
            _visit(inner, (*path, name), look)


def _inner(annotation: Any) -> list[Model]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in getattr(annotation, "__args__", ()) for found in _inner(part)]


def field_at(path: KeyPath) -> FieldInfo | None:
    """Return the field that describes the key at `path`."""
    names = [part for part in path if not isinstance(part, int)]
    for model in models_at(tuple(names[:-1])):
        if names[-1] in model.model_fields:
            return model.model_fields[str(names[-1])]
    return None


def list_at(path: KeyPath) -> bool:
    """Return whether the key at `path` holds a list."""
    field = field_at(path)
    return field is not None and get_origin(field.annotation) is list


def shown(path: KeyPath) -> str:
    """Return a correct value of the key at `path`, as it stands in a file; "" where the key is a table or free text."""
    field = field_at(path)
    return "" if field is None else _shown(field)


def _shown(field: FieldInfo) -> str:
    for item in (*field.metadata, *_metadata(field.annotation)):
        if hasattr(item, "shown"):
            return str(item.shown)
    choices = literals(field.annotation)
    if choices:
        return f'"{choices[0]}"'
    return {int: "4", bool: "true"}.get(field.annotation, "") if isinstance(field.annotation, type) else ""


def _metadata(annotation: Any) -> list[Any]:
    """Return what Annotated carries, also within `| None` and lists."""
    own = list(getattr(annotation, "__metadata__", ()))
    return own + [item for part in getattr(annotation, "__args__", ()) for item in _metadata(part)]


def literals(annotation: Any) -> list[str]:
    """Words that a key may be."""
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    return [word for part in getattr(annotation, "__args__", ()) for word in literals(part)]


def example(path: KeyPath) -> Any:
    """Return a correct TOML value of the key at `path`, tables with what they must have."""
    field = field_at(path)
    if field is None:
        return ""
    inner = _inner(field.annotation)
    if inner:
        table = {name: example((*path, name)) for name, need in inner[0].model_fields.items() if need.is_required()}
        return [table] if list_at(path) else table
    value = tomllib.loads(f"value = {_shown(field) or TEXT}")["value"]
    return [value, value] if list_at(path) else value


_TRIES = 4


def repair(tree: Mapping[str, Any], found: Iterable[tuple[KeyPath, str]]) -> tuple[File | None, list[KeyPath]]:
    """Return the file with each wrong key replaced by an example or taken out, and the paths that were touched.

    found: path and kind of pydantic's findings. None where the tree is beyond repair.
    """
    whole: dict[str, Any] = copy.deepcopy(dict(tree))
    touched: list[KeyPath] = []
    for _ in range(_TRIES):
        for path, kind in found:
            touched.append(path)
            _mend(whole, path, kind)
        try:
            return File.model_validate(whole), touched
        except ValidationError as error:
            found = findings(error)
    return None, touched


def findings(error: ValidationError) -> list[tuple[KeyPath, str]]:
    """Return the path in the file and kind of each finding."""
    return [(in_file(item["loc"]), item["type"]) for item in error.errors(include_url=False)]


def in_file(loc: tuple[int | str, ...]) -> KeyPath:
    """Return a finding's path as it stands in the file: the name of a chosen law is not a key."""
    path: list[int | str] = []
    for part in loc:
        if path and path[-1] in ("friction", "rail_friction") and path[0] == "contact" and part in _LAWS:
            continue
        path.append(part)
    return tuple(path)


_LAWS = ("constant", "falling", "bell", "rising", "tabulated")


def _mend(tree: dict[str, Any], path: KeyPath, kind: str) -> None:
    holder: Any = tree
    for part in path[:-1]:
        holder = holder[part]
    if kind == "extra_forbidden":
        holder.pop(path[-1], None)
    elif kind == "too_long":
        holder[path[-1]] = holder[path[-1]][:1]
    else:
        holder[path[-1]] = example(path)


CUTOFF = 0.6


def meant(found: Iterable[Mapping[str, Any]]) -> dict[KeyPath, bool]:
    """Paths that unknown keys among pydantic's findings should have had, and whether they hold tables: what is
    missing there follows from the unknown key."""
    unknown = [item for item in found if item["type"] == "extra_forbidden"]
    return {path: isinstance(item["input"], dict) for item in unknown if (path := _meant(item["loc"], item["input"]))}


def follows(path: KeyPath, should: Mapping[KeyPath, bool]) -> bool:
    """Return whether something missing at `path` is missing because a key was mistyped."""
    return any(path == target or (table and path[: len(target)] == target) for target, table in should.items())


def unknown(loc: KeyPath, value: Any) -> Problem:
    """Return the problem of an unknown key or table, with what it may have been meant to be."""
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


def _nearest(loc: KeyPath) -> str:
    near = difflib.get_close_matches(str(loc[-1]), known_keys(loc[:-1]), n=1, cutoff=CUTOFF)
    return near[0] if near else ""


def _meant(loc: KeyPath, value: Any) -> KeyPath:
    """The path that a mistyped one should have been; () where nothing is near, or it is a key of other tables."""
    places = homes(str(loc[-1]))
    if not places:
        near = _nearest(loc)
        return (*in_file(loc)[:-1], near) if near else ()
    targets: list[KeyPath] = [(*filter(None, place.split(".")), loc[-1]) for place in places]
    tables = [target for target in targets if isinstance(value, dict) and models_at(target)]
    return tables[0] if len(tables) == 1 else ()


def _did(loc: KeyPath, near: str) -> str:
    target = (*in_file(loc)[:-1], near)
    value = shown(target)
    if value:
        return f"did you mean `{near}`, as in {near} = {value}?"
    return f"did you mean {whole(target)}?" if models_at(target) else f"did you mean `{near}`?"


def whole(path: KeyPath) -> str:
    """Return a table as it is written: its head with the keys that it must have."""
    model = models_at(path)[0]
    needs = [f"{name} = {value}" for name, field in model.model_fields.items()
             if field.is_required() and (value := shown((*path, name)))]  # fmt: skip
    return _head(path) + (f" with {', '.join(needs)}" if needs else "")


def _head(path: KeyPath) -> str:
    """Return the line that begins a table; an entry of a list has double brackets."""
    name = dotted(tuple(part for part in path if not isinstance(part, int)))
    return f"[[{name}]]" if list_at(path) else f"[{name}]"
