"""Public functions of the core say what they take, in which unit, and what comes back."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PARTS = ("physics", "limits", "staging", "calibrate")
CORE = [path for part in PARTS for path in (ROOT / "stager" / part).rglob("*.py")]
QUANTITIES = {
    *("entry_speed", "exit_speed", "wheel_speed", "speed", "slip", "spin", "entry_spin", "crush", "radius", "mass"),
    *("force", "torque", "power", "energy", "temperature", "current", "voltage", "density", "length"),
}
UNIT = re.compile(r"\[[^\]\s][^\]]*\]")


def _public(path: Path) -> Iterator[ast.FunctionDef]:
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        inside = node.body if isinstance(node, ast.ClassDef) else [node]
        yield from (item for item in inside if isinstance(item, ast.FunctionDef) and not item.name.startswith("_"))


def _takes_quantities(function: ast.FunctionDef) -> bool:
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    return any(item.arg in QUANTITIES for item in arguments)


@pytest.mark.parametrize("path", sorted(CORE), ids=lambda path: str(path.relative_to(ROOT)))
def test_public_functions_are_documented(path: Path) -> None:
    silent = [item.name for item in _public(path) if not ast.get_docstring(item)]
    assert silent == []


@pytest.mark.parametrize("path", sorted(CORE), ids=lambda path: str(path.relative_to(ROOT)))
def test_functions_of_quantities_name_a_unit(path: Path) -> None:
    taking = [item for item in _public(path) if _takes_quantities(item)]
    assert [item.name for item in taking if not UNIT.search(ast.get_docstring(item) or "")] == []
