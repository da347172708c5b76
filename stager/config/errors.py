"""Turn pydantic's findings into what is wrong with a file, in words."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from stager.config.problem import KeyPath, Problem, dotted
from stager.config.unknown_keys import (
    CUTOFF,
    field_at,
    follows,
    in_file,
    literals,
    meant,
    models_at,
    shown,
    unknown,
    whole,
)
from stager.physics.friction import LAWS

MOST = 50
"""Findings that are put into words: whoever has more has the wrong file."""
_KINDS = {
    "string_type": "must be text in quotes", "bool_type": "must be true or false", "int_type": "must be a whole number",
}  # fmt: skip


def explain(raw: Mapping[str, Any], error: ValidationError) -> list[Problem]:
    """Return a problem for each finding; a mistyped key or table is one, not also what is missing for it."""
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
    """Return a finding inside [[stages]] about what is [stage]'s: it is said there."""
    if len(path) < 3 or path[0] != "stages" or not isinstance(raw.get("stages"), list):
        return False
    base, own, key = raw.get("stage"), raw["stages"][path[1]], path[2:]
    return not _holds(own, key) and (_holds(base, key) or _holds(base, key[:-1]))


def _holds(table: Any, path: KeyPath) -> bool:
    for part in path:
        if not (isinstance(table, dict) and part in table):
            return False
        table = table[part]
    return True


def _problem(item: Any, path: KeyPath) -> Problem:
    kind, context = item["type"], item.get("ctx") or {}
    if kind == "extra_forbidden":
        return unknown(item["loc"], item["input"])
    if kind == "missing":
        return Problem(path, "is missing", _how(path) + _apart(path))
    if kind == "literal_error":
        return _not_a_word(path, item["input"])
    if kind == "law":
        message, hint = _law(item["input"])
        return Problem((*path, "law"), message, hint + _apart((*path, "law")))
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return _not_a_table(path, item["input"])
    if kind == "list_type":
        begin = f"each one begins with a line [[{dotted(path)}]]"
        return Problem(path, "must be a list", begin if models_at(path) else f"for example [{shown(path)}, …]")
    if kind == "too_short":
        message = f"needs at least {context['min_length']} points (got {context['actual_length']})"
        return Problem(path, message, f"for example {path[-1]} = [{shown(path)}, …]")
    if kind == "too_long":
        return Problem(path, f"has more than {context['max_length']} entries", "leave some out")
    if kind in ("greater_than_equal", "less_than_equal"):
        bound = f"at least {context['ge']}" if "ge" in context else f"at most {context['le']}"
        return Problem(path, f"must be {bound} (got {item['input']})", _how(path))
    message = _KINDS.get(kind, str(item["msg"]))
    return Problem(path, message, str(context.get("hint", "")) or _how(path))


def _not_a_word(path: KeyPath, given: Any) -> Problem:
    field = field_at(path)
    words = literals(field.annotation) if field is not None else []
    listed = f"{', '.join(words[:-1])} or {words[-1]}"
    near = difflib.get_close_matches(str(given), words, n=1, cutoff=CUTOFF)
    hint = f'did you mean "{near[0]}"?' if near else f'for example {path[-1]} = "{words[0]}"'
    return Problem(path, f"must be {listed} (got {given!r})".replace("'", '"'), hint)


def _law(given: Any) -> tuple[str, str]:
    *names, last = LAWS
    words = f"{', '.join(names)} or {last}"
    hint = 'for example law = "falling", with static, sliding and fade_speed'
    law = given.get("law") if isinstance(given, dict) else None
    if law is None:
        return f"is missing: {words}", hint
    return f'must be {words} (got "{law}")', hint


def _apart(path: KeyPath) -> str:
    """Said of a rail's law, which might be thought to have from the wheel's what it leaves out."""
    within = path[:2] == ("contact", "rail_friction") and path[2:]
    return "; a rail's law is written whole, or left out whole to be the wheel's" if within else ""


def _not_a_table(path: KeyPath, given: Any) -> Problem:
    head = dotted(path)
    if isinstance(given, list):
        return Problem(path, "must be one table", f"its head has single brackets: [{head}]")
    return Problem(path, "must be a table", f"begin it with a line [{head}] and write its keys below")


def _how(path: KeyPath) -> str:
    value = shown(path)
    if value:
        return f"for example {path[-1]} = {value}"
    return f"add {whole(path)}" if models_at(path) else f'for example {path[-1]} = "…"'
