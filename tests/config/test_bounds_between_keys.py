"""Bounds that one key sets for another: a value inside is accepted, one beyond is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager.config import load
from stager.config.load import read_tree
from stager.config.toml import show_tree
from stager.errors import InputErrors
from tests.constraints.test_unknown_inputs import holder

VALID = Path(__file__).parents[1] / "broken" / "valid.toml"
INSIDE, BEYOND = 1 - 1e-4, 1 + 1e-4
BOUNDS = {
    # key: (value by the bound in mm, the bound, whether the bound itself is accepted, other keys)
    "stage.crush": ("{} mm", 38.0, False, {}),
    "stage.crush below max_crush": ("{} mm", 5.0, True, {"projectile.max_crush": "5 mm"}),
    "projectile.max_crush": ("{} mm", 38.0, False, {}),
    "stage.crush_range to the width": (["2 mm", "{} mm"], 38.0, False, {}),
    "stage.crush_range to max_crush": (["2 mm", "{} mm"], 5.0, True, {"projectile.max_crush": "5 mm"}),
    "stage.wheel.tyre.depth": ("{} mm", 40.0, False, {}),
    "stage.wheel.bore": ("{} mm", 20.0, False, {"stage.wheel.tyre.depth": "30 mm"}),
    "feed.rate": ("{} /s", 1200 / 38, True, {}),
}


def _accepted(folder: Path, case: str, value: float) -> bool:
    template, _, _, others = BOUNDS[case]
    tree = read_tree(VALID, VALID.read_text(encoding="utf-8"))
    text = template.format(repr(value)) if isinstance(template, str) else [
        one.format(repr(value)) for one in template
    ]  # fmt: skip
    for key, written in {**others, case.split()[0]: text}.items():
        table, name = holder(tree, key)
        table[name] = written
    path = folder / "a.toml"
    path.write_text(show_tree(tree), encoding="utf-8")
    try:
        load(path)
    except InputErrors as found:
        return case.split()[0] not in str(found)
    return True


@pytest.mark.parametrize("case", BOUNDS)
def test_value_is_accepted_up_to_the_bound_of_another_key(case: str, tmp_path: Path) -> None:
    _, bound, included, _ = BOUNDS[case]
    assert _accepted(tmp_path, case, bound * INSIDE)
    assert _accepted(tmp_path, case, bound) is included
    assert not _accepted(tmp_path, case, bound * BEYOND)


@pytest.mark.parametrize("table", ["guide", "outlet", "measuring"])
def test_empty_table_describes_what_leaving_it_out_does(table: str, tmp_path: Path) -> None:
    text = VALID.read_text(encoding="utf-8")
    found = []
    for content in (text, f"{text}[{table}]\n"):
        path = tmp_path / "a.toml"
        path.write_text(content, encoding="utf-8")
        found.append(load(path).scenario())
    bare, empty = (one.launcher for one in found)
    assert getattr(bare, table, None) is None or getattr(bare, table) == getattr(empty, table)
    assert all(value in (0.0, 1.0, False, None) for value in vars_of(getattr(empty, table)).values())


def vars_of(record: object) -> dict[str, object]:
    """Return the fields of a frozen record by name."""
    return {name: getattr(record, name) for name in record.__dataclass_fields__}  # type: ignore[attr-defined]
