"""The public names of the package are complete, and importing it is cheap."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections import Counter
from pathlib import Path

import stager
import stager.errors


def test_export_list_is_complete_and_sorted() -> None:
    public = {name for name in dir(stager) if not name.startswith("_")} - {"TYPE_CHECKING"}
    modules = {name for name in public if isinstance(getattr(stager, name), type(stager))}
    assert public - modules | {"__version__"} == set(stager.__all__)
    assert sorted(stager.__all__) == list(stager.__all__)


def test_every_error_is_exported() -> None:
    errors = {
        name
        for name, value in vars(stager.errors).items()
        if isinstance(value, type) and value.__module__ == "stager.errors"
    }
    assert errors <= set(stager.__all__)


def test_importing_the_package_imports_no_heavy_library() -> None:
    heavy = ("numpy", "scipy", "matplotlib", "pint", "pydantic", "rich", "typer")
    code = f"import sys, stager; print([name for name in {heavy!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_two_public_classes_share_a_name() -> None:
    names = [
        node.name
        for path in Path(stager.__file__).parent.rglob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    ]
    assert {name for name, count in Counter(names).items() if count > 1} == set()
