"""Fuzzing of the loader: any file loads or gives errors that each have a line and a hint; no other exception."""

from __future__ import annotations

import copy
import re
import tomllib
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from stager.config import load
from stager.config.toml import show_tree
from stager.errors import InputError, InputErrors
from tests.broken.corpus import VALID
from tests.config.test_load import CONFIGS

TREES = [tomllib.loads(text) for text in (VALID, *(path.read_text(encoding="utf-8") for path in CONFIGS))]
VALUES: list[Any] = [
    "", "18", "18 g", "4 mm", "-4 mm", "0 m/s", "9 m/s ± 2 m/s", "rod", "rail", "constant", "\x00", "{text}",
    "±", "1:2:3", 0, -1, 10**400, 0.5, 1e308, float("inf"), float("nan"), True, [], [1, "2 m/s"], [[]], {}, {"law": 3},
    {"a": {"b": []}}, [{}], [{"crush": "3 mm"}, 7], {"law": "bell"}, {"radius": "3 mm"},
]  # fmt: skip
KEYS = ["crush", "crsh", "law", "wheel", "stages", "tyre", "", "a.b", "é", "falling", "width", "draws", "idler"]


def _places(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    return [path, *(place for key, inner in items for place in _places(inner, (*path, key)))]


@st.composite
def _altered_trees(draw: st.DrawFn) -> dict[str, Any]:
    tree = copy.deepcopy(draw(st.sampled_from(TREES)))
    for _ in range(draw(st.integers(1, 4))):
        *path, key = draw(st.sampled_from([place for place in _places(tree) if place]))
        holder: Any = tree
        for part in path:
            holder = holder[part]
        match draw(st.sampled_from(["value", "key", "away"])):
            case "value":
                holder[key] = copy.deepcopy(draw(st.sampled_from(VALUES)))
            case "key" if isinstance(holder, dict):
                holder[draw(st.sampled_from(KEYS))] = copy.deepcopy(draw(st.sampled_from(VALUES)))
            case _:
                del holder[key]
    return tree


def _problems(path: Path) -> tuple[InputError, ...]:
    try:
        load(path).scenario()
    except InputErrors as error:
        return error.errors
    return ()


@settings(max_examples=400)
@given(_altered_trees())
def test_altered_configuration_loads_or_gives_errors_with_line_and_hint(tmp_path: Path, tree: dict[str, Any]) -> None:
    path = tmp_path / "a.toml"
    text = show_tree(tree)
    path.write_text(text, encoding="utf-8")
    for one in _problems(path):
        found = re.match(rf"{re.escape(str(path))}:(\d+): \S", one.where)
        assert found, one.where
        assert 1 <= int(found[1]) <= len(text.splitlines()) + 1
        assert one.message
        assert one.hint, one.message


@settings(max_examples=200)
@given(st.lists(st.one_of(st.sampled_from(VALID.splitlines()), st.text(max_size=20)), max_size=40))
def test_random_text_loads_or_gives_input_errors(tmp_path: Path, lines: list[str]) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes("\n".join(lines).encode("utf-8", "surrogatepass"))
    assert all(str(one).startswith(str(path)) for one in _problems(path))
