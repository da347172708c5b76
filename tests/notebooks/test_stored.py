"""Stored notebooks: executed in order, with outputs, without paths of the machine.

`.ci/run` executes them again.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.run import ROOT

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
MACHINE_PATHS = re.compile(r"/(?:tmp|home|root|work|usr|var|Users)/|\\Users\\|\x1b\[|0x[0-9a-f]{8,}")
ALLOWED = {"stager", "numpy", "matplotlib", "tempfile", "pathlib"}


def _cells(path: Path) -> list[dict[str, Any]]:
    return [cell for cell in json.loads(path.read_text(encoding="utf-8"))["cells"] if cell["cell_type"] == "code"]


def test_the_notebooks_exist() -> None:
    assert [path.stem for path in NOTEBOOKS] == [
        "day_at_the_bench", "grip_limit", "measured", "second_wheel", "two_builds", "which_wheel",
    ]  # fmt: skip


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_was_executed_in_order_without_errors(path: Path) -> None:
    cells = _cells(path)
    assert [cell["execution_count"] for cell in cells] == list(range(1, len(cells) + 1))
    outputs = [output for cell in cells for output in cell["outputs"]]
    assert not [output for output in outputs if output["output_type"] == "error" or output.get("name") == "stderr"]
    shown = [kind for output in outputs for kind in output.get("data", {})]
    assert sum(kind in ("image/svg+xml", "image/png") for kind in shown) >= 2


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_begins_with_a_picture_and_ends_with_an_assertion(path: Path) -> None:
    cells = _cells(path)
    assert "assert abs(" in "".join(cells[-1]["source"])
    assert any("image/svg+xml" in output.get("data", {}) for output in cells[0]["outputs"])


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_outputs_contain_no_machine_paths(path: Path) -> None:
    for cell in _cells(path):
        for output in cell["outputs"]:
            texts = {kind: text for kind, text in output.get("data", {}).items() if kind != "image/png"}
            assert not MACHINE_PATHS.search(json.dumps([texts, output.get("text", "")], ensure_ascii=False))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_uses_the_public_api_only(path: Path) -> None:
    source = "\n".join("".join(cell["source"]) for cell in _cells(path))
    found = re.findall(r"^\s*(?:import|from)\s+([\w.]+)", source, re.MULTILINE)
    assert {name.partition(".")[0] for name in found} <= ALLOWED
    assert not [name for name in found if name.startswith("stager.")]
