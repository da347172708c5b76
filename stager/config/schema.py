"""JSON Schema of the configuration, for editors."""

from __future__ import annotations

import copy
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from stager.config.kinds import UNIT
from stager.config.machine import File
from stager.config.not_yet import NOT_YET
from stager.config.words import EXAMPLES, WORDS
from stager.units import format_quantity

_PREFIX = "#/$defs/"
_PART = "Part"


def schema_json() -> dict[str, Any]:
    """The schema, with titles, descriptions, SI units and examples.

    An entry of [[stages]] needs only what differs from [stage], also within its tables.
    """
    schema = File.model_json_schema(schema_generator=_Generator)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "stager configuration"
    tables: dict[str, Any] = schema["$defs"]
    for part in _within("Stage", tables):
        tables[part + _PART] = _part(tables[part])
    schema["properties"]["stages"]["items"] = {"$ref": f"{_PREFIX}Stage{_PART}"}
    for name, table in {"File": schema, **tables}.items():
        for key, entry in table.get("properties", {}).items():
            _describe(entry, f"{name.removesuffix(_PART)}.{key}")
    for key in NOT_YET:
        _say_not_yet(schema, key)
    return schema


def _within(name: str, tables: dict[str, Any]) -> list[str]:
    """A table and those in it."""
    found = [name]
    for other in _refs(tables[name]):
        found += [inner for inner in _within(other, tables) if inner not in found]
    return found


def _refs(value: Any) -> list[str]:
    if isinstance(value, dict):
        own = [value["$ref"].removeprefix(_PREFIX)] if "$ref" in value else []
        return own + [ref for inner in value.values() for ref in _refs(inner)]
    return [ref for inner in value for ref in _refs(inner)] if isinstance(value, list) else []


def _part(table: dict[str, Any]) -> dict[str, Any]:
    """A table of which nothing is required; lists within are whole."""
    part = copy.deepcopy(table)
    part.pop("required", None)
    for entry in part["properties"].values():
        for choice in (entry, *entry.get("anyOf", ())):
            if "$ref" in choice:
                choice["$ref"] += _PART
    return part


def _describe(entry: dict[str, Any], key: str) -> None:
    """What editors show: no null, which TOML lacks; defaults as they would be written; the SI unit behind the words."""
    if entry.get("default", 0) is None:
        del entry["default"]
    for choice in entry.pop("anyOf", ()):
        if choice != {"type": "null"}:
            entry.update(choice | entry)
    if key in WORDS:
        entry["description"] = WORDS[key]
    if key in EXAMPLES:
        entry["examples"] = [EXAMPLES[key]]
    unit = entry.pop(UNIT, None)
    if unit is not None:
        entry["description"] = f"{entry.get('description', '')} [{unit}]".strip()
    if unit != "-" and isinstance(entry.get("default"), float):
        entry["default"] = format_quantity(entry["default"], unit=unit or "")


def _say_not_yet(schema: dict[str, Any], key: str) -> None:
    table, name = key.split(".")
    reference = schema["properties"][table]["$ref"].removeprefix(_PREFIX)
    entry = schema["$defs"][reference]["properties"][name]
    values = ", ".join(f'"{value}"' for value in NOT_YET[key])
    entry["description"] = f"{entry.get('description', '')} ({values or 'it'} is refused for now)".strip()


class _Generator(GenerateJsonSchema):
    """Defaults are quantities read from text; in the file they are numbers or text again."""

    def encode_default(self, value: Any) -> Any:
        """What stands for a default in JSON."""
        return getattr(value, "value", value)
