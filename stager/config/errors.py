"""From pydantic's findings to `file:line: key: what is wrong` with a hint."""

from __future__ import annotations

import difflib
from typing import Any

from pydantic import BaseModel, ValidationError

from stager.config.lines import Path, key_lines, line_of
from stager.config.machine import File
from stager.errors import InputError, InputErrors

_TAGS = {"constant", "falling", "bell", "tabulated"}


def explain(name: str, text: str, raw: dict[str, Any], error: ValidationError) -> InputErrors:
    """All findings of `error` in the order of the file's lines."""
    problems = []
    for finding in error.errors(include_url=False):
        path = _in_file(finding["loc"], finding["type"])
        if _inherited(path, raw, finding["type"]):
            continue
        message, hint, path = _words(finding, path)
        problems.append((path, message, hint))
    return place(name, text, problems)


def place(name: str, text: str, problems: list[tuple[Path, str, str]]) -> InputErrors:
    """Problems by path to errors with their lines, each once."""
    lines = key_lines(text)
    seen = {(line_of(lines, path) or 1, _dotted(path), message, hint) for path, message, hint in problems}
    ordered = sorted(seen, key=lambda item: (item[0], "unknown key" not in item[2], item[1]))
    return InputErrors(
        [InputError(message, where=f"{name}:{line}: {key}" if key else f"{name}:{line}", hint=hint)
         for line, key, message, hint in ordered]
    )  # fmt: skip


def _dotted(path: Path) -> str:
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in path)


def _in_file(loc: tuple[int | str, ...], kind: str) -> Path:
    """A finding's path as it stands in the file: the tag of a chosen law is not a key."""
    path: list[int | str] = []
    for part in loc:
        if path and path[-1] in ("friction", "rail_friction") and part in _TAGS:
            continue
        path.append(part)
    return tuple(path)


def _inherited(path: Path, raw: dict[str, Any], kind: str) -> bool:
    """A finding inside [[stages]] that [stage] has already: said once, where it stands."""
    if len(path) < 3 or path[0] != "stages" or not isinstance(path[1], int):
        return False
    holder: Any = raw.get("stages", [])[path[1]]
    for part in path[2:]:
        if not isinstance(holder, dict) or part not in holder:
            return kind != "missing" or isinstance(holder, dict)
        holder = holder[part]
    return False


def _words(finding: Any, path: Path) -> tuple[str, str, Path]:
    context = finding.get("ctx") or {}
    if finding["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(path[-1]), _known(path[:-1]), n=1, cutoff=0.5)
        known = ", ".join(_known(path[:-1]))
        return "unknown key", f"did you mean `{near[0]}`?" if near else f"known here: {known}", path
    if finding["type"] == "missing":
        return f"`{path[-1]}` is missing", _example(path), path[:-1]
    if finding["type"] == "literal_error":
        return f"must be {context['expected']} (got {finding['input']!r})", "", path
    if finding["type"] == "law":
        return str(finding["msg"]), 'for example law = "falling"', (*path, "law")
    return str(finding["msg"])[0].lower() + str(finding["msg"])[1:], str(context.get("hint", "")), path


def _model(path: Path) -> list[type[BaseModel]]:
    """Models that a table at `path` may be."""
    models: list[type[BaseModel]] = [File]
    for part in path:
        if isinstance(part, int):
            continue
        fields = [model.model_fields[part] for model in models if part in model.model_fields]
        models = [inner for field in fields for inner in _inner(field.annotation)]
    return models


def _inner(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in getattr(annotation, "__args__", ()) for found in _inner(part)]


def _known(path: Path) -> list[str]:
    return sorted({key for model in _model(path) for key in model.model_fields})


def _example(path: Path) -> str:
    key = str(path[-1])
    for model in _model(path[:-1]):
        field = model.model_fields.get(key)
        if field is None:
            continue
        for item in field.metadata:
            if hasattr(item, "shown"):
                return f"for example {key} = {item.shown}"
        if _inner(field.annotation):
            return f"add a table [{_dotted(path)}]"
    return ""
