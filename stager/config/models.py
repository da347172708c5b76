"""Finding one's way in the schema: which keys a table has, and a correct example of each."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from stager.config.lines import Path
from stager.config.machine import File

Model = type[BaseModel]
TEXT = '"text"'


def models_at(path: Path) -> list[Model]:
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
    """The friction law that a model describes."""
    field = model.model_fields.get("law")
    return None if field is None else str(get_args(field.annotation)[0])


def known_keys(path: Path) -> list[str]:
    """Keys of the table at `path`."""
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


def field_at(path: Path) -> FieldInfo | None:
    """The field that describes the key at `path`."""
    names = [part for part in path if not isinstance(part, int)]
    for model in models_at(tuple(names[:-1])):
        if names[-1] in model.model_fields:
            return model.model_fields[str(names[-1])]
    return None


def list_at(path: Path) -> bool:
    """Whether the key at `path` holds a list."""
    field = field_at(path)
    return field is not None and get_origin(field.annotation) is list


def shown(path: Path) -> str:
    """A correct value of the key at `path`, as it stands in a file; "" where the key is a table or free text."""
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
    """What Annotated carries, also within `| None` and lists."""
    own = list(getattr(annotation, "__metadata__", ()))
    return own + [item for part in getattr(annotation, "__args__", ()) for item in _metadata(part)]


def literals(annotation: Any) -> list[str]:
    """Words that a key may be."""
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    return [word for part in getattr(annotation, "__args__", ()) for word in literals(part)]


def example(path: Path) -> Any:
    """A correct TOML value of the key at `path`, tables with what they must have."""
    field = field_at(path)
    if field is None:
        return ""
    inner = _inner(field.annotation)
    if inner:
        table = {name: example((*path, name)) for name, need in inner[0].model_fields.items() if need.is_required()}
        return [table] if list_at(path) else table
    value = tomllib.loads(f"value = {_shown(field) or TEXT}")["value"]
    return [value, value] if list_at(path) else value
