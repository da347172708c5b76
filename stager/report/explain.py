"""Explain a term, a limit or a key of the configuration."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from stager.errors import InputError
from stager.report.answer import Answer
from stager.report.glossary import LIMITS, TERMS, Term
from stager.report.table import Column, Screen, Table
from stager.version import __version__

_PREFIX = "#/$defs/"
REQUIRED = "required"


@dataclass(frozen=True, slots=True)
class Key:
    """A key of the configuration: where it stands, what it is, its unit, an example, whether it must be there."""

    name: str
    text: str
    unit: str
    example: str
    required: bool


@dataclass(frozen=True, slots=True)
class Lines:
    """A picture made of finished lines."""

    title: str
    text: str

    def lines(self, width: int) -> list[str]:
        """Its lines, cut to `width`."""
        return [line[:width] for line in self.text.splitlines()]


@cache
def configuration_keys() -> dict[str, Key]:
    """Return every key of the configuration by its dotted name; entries of lists are named as their list."""
    from stager.config import schema_json

    schema = schema_json()
    return {key.name: key for key in _walk(schema, schema["$defs"], ())}


def _walk(table: Mapping[str, Any], tables: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[Key]:
    required = table.get("required", ())
    for name, entry in table.get("properties", {}).items():
        if name == "stages" and not path:
            continue
        place = (*path, name)
        example = next(iter(entry.get("examples", ())), None)
        text, _, unit = str(entry.get("description", "")).rpartition(" [")
        if not unit.endswith("]"):
            text, unit = str(entry.get("description", "")), "]"
        yield Key(
            ".".join(place), text, unit[:-1], "" if example is None else _example(name, example), name in required
        )
        for inner in _tables_of(entry):
            below = tables[inner.removeprefix(_PREFIX)]
            if inner not in (f"{_PREFIX}{name}" for name in path):
                yield from _walk(below, tables, place)


def _tables_of(entry: Mapping[str, Any]) -> list[str]:
    choices = [entry, *entry.get("oneOf", ()), *entry.get("anyOf", ())]
    found = [choice["$ref"] for choice in choices if "$ref" in choice]
    items = entry.get("items", {})
    return [*found, *([items["$ref"]] if isinstance(items, Mapping) and "$ref" in items else [])]


def _example(name: str, value: Any) -> str:
    from stager.config.toml import show_value

    return f"{name} = {show_value(value)}"


def answer(asked: str | None, seed: int = 0) -> Answer:
    """Explain what was asked, or list all there is. Raises InputError, with what is nearest, where it is not known."""
    keys = configuration_keys()
    if not asked:
        return _all(keys, seed)
    name = " ".join(asked.strip().lower().split())
    parts = _parts(name, keys)
    if not parts:
        known = [*TERMS, *LIMITS, *keys, *(key.rpartition(".")[2] for key in keys)]
        begin = [one for one in known if len(name) > 2 and one.startswith(name[: max(3, len(name) - 2)])]
        near = list(dict.fromkeys([*difflib.get_close_matches(name, known, 4, 0.7), *begin]))[:4]
        hint = f"did you mean {', '.join(near)}?" if near else "stager explain lists all terms"
        raise InputError(f'nothing is known of "{asked[:60]}"', where="explain", hint=hint)
    return _answer(name, parts, seed)


@dataclass(frozen=True, slots=True)
class _Part:
    head: str
    text: str
    picture: str = ""
    see: tuple[str, ...] = ()
    example: str = ""
    unit: str = ""


def _parts(name: str, keys: Mapping[str, Key]) -> list[_Part]:
    """What is known under a name: a term, a limit, keys of that name."""
    found = []
    spaced, joined = name.replace("_", " "), name.replace(" ", "_")
    limit = joined.removeprefix("limits.")
    if spaced in TERMS:
        found.append(_of_term(spaced, TERMS[spaced]))
    if limit in LIMITS:
        found.append(_of_term(f"limit: {limit.replace('_', ' ')}", LIMITS[limit]))
    whole = [keys[joined]] if joined in keys else []
    ending = [key for key in keys.values() if key.name.rpartition(".")[2] == joined]
    for key in whole or ending[:6]:
        need = "Required." if key.required else "Optional."
        text = f"{key.text[:1].upper()}{key.text[1:]}." if key.text else ""
        found.append(_Part(f"key: {key.name}", f"{text} {need}".strip(), example=key.example, unit=key.unit))
    return found


def _of_term(head: str, term: Term) -> _Part:
    return _Part(head, term.text, term.picture, term.see)


def _answer(name: str, parts: list[_Part], seed: int) -> Answer:
    first, *others = parts
    notes = [_line(part) for part in others]
    if first.example:
        notes.insert(0, f"Example: {first.example}{f'  (SI unit {first.unit})' if first.unit else ''}")
    see = list(dict.fromkeys(term for part in parts for term in part.see))
    if see:
        notes.append(f"See also: {', '.join(see)}.")
    pictures = [Lines("", first.picture)] if first.picture else []
    document = {
        "term": name,
        "explanations": [
            {"name": part.head, "text": part.text, "example": part.example or None, "unit": part.unit or None,
             "see": list(part.see)}
            for part in parts
        ],
        "stager_version": __version__, "config_sha256": None, "seed": seed,
    }  # fmt: skip
    screen = Screen(f"{first.head[:1].upper()}{first.head[1:]}", (), notes, verdict=first.text, pictures=pictures)
    return Answer(screen, document)


def _line(part: _Part) -> str:
    example = f" Example: {part.example}" if part.example else ""
    return f"{part.head[:1].upper()}{part.head[1:]}. {part.text}{example}"


def _all(keys: Mapping[str, Key], seed: int) -> Answer:
    columns = (Column("kind", words=True), Column("names", words=True, wraps=True))
    rows = (
        ("terms", ", ".join(TERMS)),
        ("limits", ", ".join(name.replace("_", " ") for name in LIMITS)),
    )
    tables = tuple(dict.fromkeys(key.partition(".")[0] for key in keys))
    more = tuple((table, ", ".join(key for key in keys if key.partition(".")[0] == table)) for table in tables)
    document = {
        "terms": list(TERMS), "limits": list(LIMITS), "keys": list(keys), "stager_version": __version__,
        "config_sha256": None, "seed": seed,
    }  # fmt: skip
    note = 'One term at a time: stager explain "grip limit", stager explain limits.length, stager explain crush.'
    return Answer(
        Screen("What can be explained", [Table("", columns, rows)], [note], more_tables=[Table("Keys", columns, more)]),
        document,
    )
