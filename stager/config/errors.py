"""Problems of a configuration file, each with its line and a hint, and how they follow from pydantic's findings."""

from __future__ import annotations

import copy
import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from stager.config.field_types import QuantityKind
from stager.config.tables import File
from stager.config.toml import KeyPath, key_lines, line_of, show_key
from stager.errors import InputError, InputErrors
from stager.physics.friction import LAWS


@dataclass(frozen=True, slots=True)
class Mistake:
    """One problem of a file.

    path: its key; others: further keys that it depends on
    hint: a correct example
    first: whether it comes before all others, as they may follow from it
    """

    path: KeyPath
    message: str
    hint: str = ""
    others: tuple[KeyPath, ...] = ()
    first: bool = False

    def rests_on(self, damaged: Iterable[KeyPath]) -> bool:
        """Return whether it depends on a key that is itself wrong, so that it may not be true."""
        return any(_meet(mine, theirs) for theirs in damaged for mine in (self.path, *self.others))


def _meet(a: KeyPath, b: KeyPath) -> bool:
    """Return whether one path is the start of the other."""
    short = min(len(a), len(b))
    return a[:short] == b[:short]


def dotted(path: KeyPath) -> str:
    """Return a path as dotted text, elements of lists counted from 1."""
    return ".".join(str(part + 1) if isinstance(part, int) else show_key(part) for part in path)


def place(name: str, text: str, problems: Iterable[Mistake]) -> InputErrors:
    """Return the problems as errors with their lines in the file `name`, each once, `first` ones first."""
    lines = key_lines(text)
    keyed = ((not p.first, line_of(lines, p.path), dotted(p.path), p.message, p.hint) for p in problems)
    return InputErrors(
        [
            InputError(message, where=f"{name}:{line}: {key}" if key else f"{name}:{line}", hint=hint)
            for _, line, key, message, hint in sorted(dict.fromkeys(keyed))
        ]
    )


MOST = 50
"""Findings that become problems; a file with more is another kind of file."""
_KINDS = {
    "string_type": "must be text in quotes", "bool_type": "must be true or false", "int_type": "must be a whole number",
}  # fmt: skip


def explain(raw: Mapping[str, Any], error: ValidationError) -> list[Mistake]:
    """Return a problem for each finding; keys that are missing because of a mistyped one are left out."""
    found = error.errors(include_url=False)[:MOST]
    should = meant(found)
    problems = []
    for item in found:
        path = in_file(item["loc"])
        if _inherited(path, raw) or (item["type"] == "missing" and follows(path, should)):
            continue
        problems.append(_problem(item, path))
    return problems


def _inherited(path: KeyPath, raw: Mapping[str, Any]) -> bool:
    """Return whether a finding inside [[stages]] is about a key inherited from [stage], and so is reported there."""
    if len(path) < 3 or path[0] != "stages" or not isinstance(raw.get("stages"), list):
        return False
    base, own, key = raw.get("stage"), raw["stages"][path[1]], path[2:]
    # Lists are inherited as a whole.
    listed = next((key[:at] for at, part in enumerate(key) if isinstance(part, int)), key)
    return not _holds(own, listed) and (_holds(base, key) or _holds(base, key[:-1]))


def _holds(table: Any, path: KeyPath) -> bool:
    for part in path:
        if isinstance(part, int):
            if not (isinstance(table, list) and part < len(table)):
                return False
        elif not (isinstance(table, dict) and part in table):
            return False
        table = table[part]
    return True


def _problem(item: Any, path: KeyPath) -> Mistake:
    kind, context = item["type"], item.get("ctx") or {}
    if kind == "extra_forbidden":
        return unknown(item["loc"], item["input"])
    if kind == "missing":
        return Mistake(path, "is missing", _how(item["loc"]) + _apart(path))
    if kind == "literal_error":
        return _not_a_word(path, item["input"])
    if kind == "law" and not isinstance(item["input"], dict):
        return _not_a_table(path, item["input"])
    if kind == "law":
        message, hint = _law(item["input"])
        return Mistake((*path, "law"), message, hint + _apart((*path, "law")))
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return _not_a_table(path, item["input"])
    if kind == "list_type":
        begin = f"each one begins with a line [[{dotted(path)}]]"
        return Mistake(path, "must be a list", begin if models_at(path) else f"for example [{shown(path)}, …]")
    if kind == "too_short":
        message = f"needs at least {context['min_length']} points (got {context['actual_length']})"
        return Mistake(path, message, f"for example {path[-1]} = [{shown(path)}, …]")
    if kind == "too_long":
        return Mistake(path, f"has more than {context['max_length']} entries", "leave some out")
    if kind in ("greater_than_equal", "less_than_equal"):
        bound = f"at least {context['ge']}" if "ge" in context else f"at most {context['le']}"
        return Mistake(path, f"must be {bound} (got {item['input']})", _how(path))
    message = _KINDS.get(kind, str(item["msg"]))
    return Mistake(path, message, str(context.get("hint", "")) or _how(path))


def _not_a_word(path: KeyPath, given: Any) -> Mistake:
    field = field_at(path)
    words = literals(field.annotation) if field is not None else []
    listed = f"{', '.join(words[:-1])} or {words[-1]}"
    near = difflib.get_close_matches(str(given), words, n=1, cutoff=CUTOFF)
    hint = f'did you mean "{near[0]}"?' if near else f'for example {path[-1]} = "{words[0]}"'
    return Mistake(path, f"must be {listed} (got {given!r})".replace("'", '"'), hint)


def _law(given: Mapping[str, Any]) -> tuple[str, str]:
    *names, last = LAWS
    words = f"{', '.join(names)} or {last}"
    hint = 'for example law = "falling", with static, sliding and fade_speed'
    law = given.get("law")
    if law is None:
        return f"is missing: {words}", hint
    return f'must be {words} (got "{law}")', hint


def _apart(path: KeyPath) -> str:
    """Return a hint for keys of a rail's law, which does not inherit keys of the wheel's law."""
    within = path[:2] == ("contact", "rail_friction") and path[2:]
    return "; a rail's law is written in full, or left out to be the wheel's" if within else ""


def _not_a_table(path: KeyPath, given: Any) -> Mistake:
    if isinstance(given, list) and not isinstance(path[-1], int):
        return Mistake(path, "must be one table", f"its head has single brackets: {_head(path)}")
    return Mistake(path, "must be a table", f"begin it with a line {_head(path)} and write its keys below")


def _how(path: KeyPath) -> str:
    value = _written(path)
    if value:
        return f"for example {path[-1]} = {value}"
    return f"add {whole(path)}" if models_at(path) else f'for example {path[-1]} = "…"'


Model = type[BaseModel]
TEXT = '"text"'


def models_at(path: KeyPath) -> list[Model]:
    """Return the models that the table at `path` may be; a law's name after "friction" selects one."""
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
    """Return the tables that have the key."""
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


def quantity_at(path: KeyPath) -> QuantityKind | None:
    """Return the kind of quantity of the key at `path`; None where it is no quantity."""
    field = field_at(path)
    found = [] if field is None else [*field.metadata, *_metadata(field.annotation)]
    return next((item for item in found if isinstance(item, QuantityKind)), None)


def list_at(path: KeyPath) -> bool:
    """Return whether the key at `path` holds a list."""
    field = field_at(path)
    return field is not None and get_origin(field.annotation) is list


def shown(path: KeyPath) -> str:
    """Return an example of the key at `path` as TOML text; "" for a table or free text."""
    field = field_at(path)
    return "" if field is None else _shown(field)


def _written(path: KeyPath) -> str:
    """Return an example of the key at `path` as it stands behind the key; "" for a table or free text."""
    value = shown(path)
    return f"[{value}, …]" if value and list_at(path) else value


def _shown(field: FieldInfo) -> str:
    for item in (*field.metadata, *_metadata(field.annotation)):
        if hasattr(item, "shown"):
            return str(item.shown)
    choices = literals(field.annotation)
    if choices:
        return f'"{choices[0]}"'
    kinds = (field.annotation, *get_args(field.annotation))
    return "true" if bool in kinds else "4" if int in kinds else ""


def _metadata(annotation: Any) -> list[Any]:
    """Return the metadata of Annotated, within `| None` and lists too."""
    own = list(getattr(annotation, "__metadata__", ()))
    return own + [item for part in getattr(annotation, "__args__", ()) for item in _metadata(part)]


def literals(annotation: Any) -> list[str]:
    """Return the words that a key may be."""
    if get_origin(annotation) is Literal:
        return [str(word) for word in get_args(annotation)]
    return [word for part in getattr(annotation, "__args__", ()) for word in literals(part)]


def example(path: KeyPath) -> Any:
    """Return an example of the key at `path` as a value; tables have their required keys."""
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
"""Rounds of repair: replacing a key can uncover further findings [-]."""


def repair(tree: Mapping[str, Any], found: Iterable[tuple[KeyPath, str]]) -> tuple[File | None, list[KeyPath]]:
    """Return the file with each wrong key removed or replaced by an example, and the changed paths.

    found: of `findings`. None where _TRIES do not suffice. Checks across keys can then run.
    """
    whole: dict[str, Any] = copy.deepcopy(dict(tree))
    touched: list[KeyPath] = []
    for _ in range(_TRIES):
        for loc, kind in found:
            touched.append(in_file(loc))
            _mend(whole, loc, kind)
        try:
            return File.model_validate(whole), touched
        except ValidationError as error:
            found = findings(error)
    return None, touched


def findings(error: ValidationError) -> list[tuple[KeyPath, str]]:
    """Return path and kind of each finding; a law's name stands in the path, as its keys depend on it."""
    return [(item["loc"], item["type"]) for item in error.errors(include_url=False)]


def in_file(loc: tuple[int | str, ...]) -> KeyPath:
    """Return the path of a finding in the file, without the name of a law that pydantic adds."""
    path: list[int | str] = []
    for part in loc:
        if path and path[-1] in ("friction", "rail_friction") and path[0] == "contact" and part in LAWS:
            continue
        path.append(part)
    return tuple(path)


def _mend(tree: dict[str, Any], loc: KeyPath, kind: str) -> None:
    path = in_file(loc)
    holder: Any = tree
    for part in path[:-1]:
        holder = holder[part]
    if kind == "extra_forbidden":
        holder.pop(path[-1], None)
    elif kind == "too_long":
        holder[path[-1]] = holder[path[-1]][:1]
    else:
        holder[path[-1]] = example(loc)


CUTOFF = 0.6
"""Least similarity of a suggestion [-], as in difflib."""


def meant(found: Iterable[Mapping[str, Any]]) -> dict[KeyPath, bool]:
    """Return the paths that unknown keys among the findings probably mean, and whether they are tables."""
    unknown = [item for item in found if item["type"] == "extra_forbidden"]
    return {path: isinstance(item["input"], dict) for item in unknown if (path := _meant(item["loc"], item["input"]))}


def follows(path: KeyPath, should: Mapping[KeyPath, bool]) -> bool:
    """Return whether something missing at `path` is missing because a key was mistyped."""
    return any(path == target or (table and path[: len(target)] == target) for target, table in should.items())


def unknown(loc: KeyPath, value: Any) -> Mistake:
    """Return the problem of an unknown key or table, with a suggestion."""
    path = in_file(loc)
    if isinstance(value, dict) and (target := _meant(loc, value)):
        return Mistake(path, "unknown table", f"did you mean {_head(target)}?", first=True)
    key, near = str(path[-1]), _nearest(loc)
    laws = [law for model in models_at(path[:-1]) if (law := law_of(model)) and key in model.model_fields]
    if laws:
        return Mistake(path, "is not a key of this friction law", f'it belongs to law = "{laws[0]}"')
    if other := _other_size(loc):
        value, share = _written((*loc[:-1], other)), "twice it" if "radius" in key else "half of it"
        return Mistake(path, "unknown key here", f"give {share} as `{other}`, for example {other} = {value}")
    places = homes(key)
    if places:
        heads = [_head(tuple(place.split("."))) if place else "the top of the file" for place in places[:3]]
        where = " or ".join(heads)
        return Mistake(path, "unknown key here", f"it belongs to {where}" + (f", or {_did(loc, near)}" if near else ""))
    if near:
        return Mistake(path, "unknown key", _did(loc, near))
    return Mistake(path, "unknown key", f"known here: {', '.join(known_keys(loc[:-1]))}")


def _other_size(loc: KeyPath) -> str:
    """Return the radius that is known where a diameter was given, or the other way round."""
    key, known = str(loc[-1]), known_keys(loc[:-1])
    swapped = [key.replace(one, other) for one, other in (("diameter", "radius"), ("radius", "diameter")) if one in key]
    return next((one for one in swapped if one in known), "")


def _nearest(loc: KeyPath) -> str:
    near = difflib.get_close_matches(str(loc[-1]), known_keys(loc[:-1]), n=1, cutoff=CUTOFF)
    return near[0] if near else ""


def _meant(loc: KeyPath, value: Any) -> KeyPath:
    """Return the path that a mistyped key probably means; () where nothing is near, or other tables have the key."""
    places = homes(str(loc[-1]))
    if not places or _other_size(loc):
        near = _other_size(loc) or _nearest(loc)
        return (*in_file(loc)[:-1], near) if near else ()
    targets: list[KeyPath] = [(*filter(None, place.split(".")), loc[-1]) for place in places]
    tables = [target for target in targets if isinstance(value, dict) and models_at(target)]
    return tables[0] if len(tables) == 1 else ()


def _did(loc: KeyPath, near: str) -> str:
    target = (*in_file(loc)[:-1], near)
    value = _written((*loc[:-1], near))
    if value:
        return f"did you mean `{near}`, as in {near} = {value}?"
    return f"did you mean {whole(target)}?" if models_at(target) else f"did you mean `{near}`?"


def whole(path: KeyPath) -> str:
    """Return the text of a table: its head with its required keys."""
    model = models_at(path)[0]
    needs = [f"{name} = {value}" for name, field in model.model_fields.items()
             if field.is_required() and (value := _written((*path, name)))]  # fmt: skip
    return _head(path) + (f" with {', '.join(needs)}" if needs else "")


def _head(path: KeyPath) -> str:
    """Return the line that begins a table; an entry of a list has double brackets."""
    name = dotted(tuple(part for part in path if not isinstance(part, int)))
    return f"[[{name}]]" if list_at(path) else f"[{name}]"
