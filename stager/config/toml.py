"""Write a TOML tree, as tomllib reads one, as text."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

_BARE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")


def show_tree(tree: Mapping[str, Any]) -> str:
    """Return the text of a whole file: keys first, then tables."""
    return "\n".join(_table(tree, ())).strip("\n") + "\n"


def show_key(key: str) -> str:
    """Return a key, in quotes where TOML wants them."""
    return key if key and set(key) <= _BARE else _text(key)


def show_value(value: Any) -> str:
    """Return a value on one line; tables within it are inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return "[" + ", ".join(map(show_value, value)) + "]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{show_key(key)} = {show_value(inner)}" for key, inner in value.items()) + "}"
    return repr(value) if isinstance(value, int | float) else str(value)


def _text(value: str) -> str:
    # JSON's escapes are TOML's, but for DEL
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _table(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    lines = [f"{show_key(key)} = {show_value(value)}" for key, value in table.items() if not _is_table(value)]
    for key, value in table.items():
        name = ".".join(map(show_key, (*path, key)))
        if isinstance(value, Mapping):
            lines += ["", f"[{name}]", *_table(value, (*path, key))]
        elif _is_table(value):
            for item in value:
                lines += ["", f"[[{name}]]", *_table(item, (*path, key))]
    return lines


def _is_table(value: Any) -> bool:
    if isinstance(value, Mapping):
        return True
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)
