"""Public functions of the core have docstrings; those that take quantities state units."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
PARTS = ("model", "physics", "constraints", "optimise", "bounds", "fit")
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


def test_public_functions_are_documented_with_the_units_of_quantities() -> None:
    assert len(CORE) > 50
    undocumented, without_unit = [], []
    for path in sorted(CORE):
        for item in _public(path):
            text, name = ast.get_docstring(item) or "", f"{path.relative_to(ROOT)}: {item.name}"
            if not text:
                undocumented.append(name)
            elif _takes_quantities(item) and not UNIT.search(text):
                without_unit.append(name)
    assert undocumented == []
    assert without_unit == []
