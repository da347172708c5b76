"""One idea a file: sizes of files and functions."""

from __future__ import annotations

import ast
from pathlib import Path
from statistics import median

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "stager").rglob("*.py"))
TESTS = sorted((ROOT / "tests").rglob("*.py"))
LONGEST_FILE, MEDIAN_FILE, LONGEST_FUNCTION = 400, 120, 60


def _length(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def test_the_median_file_is_short() -> None:
    assert median(_length(path) for path in SOURCES) <= MEDIAN_FILE


@pytest.mark.parametrize("path", SOURCES + TESTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_is_long(path: Path) -> None:
    assert _length(path) <= LONGEST_FILE


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_functions_fit_a_screen(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    long = [node.name for node in functions if (node.end_lineno or 0) - node.lineno + 1 > LONGEST_FUNCTION]
    assert long == []
