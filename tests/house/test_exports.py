"""The public names of the package are complete, and importing it is cheap."""

from __future__ import annotations

import subprocess
import sys

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
