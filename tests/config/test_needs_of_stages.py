"""What limits need of stages: of every entry of [[stages]], and of [stage] where a stage may be like it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stager.api import Loaded
from stager.api import load as load_api
from stager.config.load import read_tree
from stager.config.toml import show_tree
from stager.errors import InputErrors

VALID = Path(__file__).parents[1] / "broken" / "valid.toml"
DRIVE = {"speed_constant": "1400 rpm/V", "resistance": "60 mohm"}
HUB = {"yield_strength": "240 MPa", "density": "2700 kg/m^3"}
NEEDS: dict[str, tuple[Any, str, dict[str, Any]]] = {
    # limit: (its value, the key it needs, what gives that key)
    "mass": ("9 kg", "mass", {"mass": "0.4 kg"}),
    "cost": (500.0, "cost", {"cost": 38.0}),
    "average_power": ("900 W", "drive", {"drive": DRIVE}),
    "peak_power": ("9 kW", "drive", {"drive": DRIVE}),
    "supply_current": ("900 A", "drive", {"drive": DRIVE}),
    "settled_loss": (0.5, "drive", {"drive": DRIVE}),
    "winding_temperature": ("class F", "drive", {"drive": DRIVE}),
    "rim_safety": (1.2, "wheel.yield_strength", {"wheel": HUB}),
}


def _load(folder: Path, limit: str, *, own: list[bool], stages: int) -> Loaded:
    """Load a file with a limit, an entry for each of `own` that has what the limit needs, and none in [stage]."""
    value, _, gives = NEEDS[limit]
    tree = read_tree(VALID, VALID.read_text(encoding="utf-8"))
    for key in ("drive", "mass", "cost"):
        tree["stage"].pop(key, None)
    tree["stage"]["wheel"] = {"radius": "40 mm", "inertia": "4e-5 kg m^2"}
    tree["feed"]["rate"] = "1 /s"
    tree["limits"] = {"exit_energy": "8 J", "stages": stages, limit: value}
    tree["stages"] = [gives if has else {} for has in own]
    path = folder / "a.toml"
    path.write_text(show_tree(tree), encoding="utf-8")
    return load_api(path)


@pytest.mark.parametrize("limit", NEEDS)
@pytest.mark.parametrize("entries, stages", [(1, 1), (2, 2), (2, 1), (2, 3), (0, 1), (1, 4)])
def test_stage_needs_what_a_limit_asks_where_a_stage_may_be_like_it(
    limit: str, entries: int, stages: int, tmp_path: Path
) -> None:
    if stages <= entries:
        assert _load(tmp_path, limit, own=[True] * entries, stages=stages).scenario.limit_values.stages == stages
        return
    with pytest.raises(InputErrors, match=rf"stage\.{NEEDS[limit][1]}: is missing: limits.{limit} needs it"):
        _load(tmp_path, limit, own=[True] * entries, stages=stages)


@pytest.mark.parametrize("limit", NEEDS)
def test_entry_that_lacks_what_a_limit_needs_is_named(limit: str, tmp_path: Path) -> None:
    with pytest.raises(InputErrors, match=rf"stages.2\.{NEEDS[limit][1]}: is missing"):
        _load(tmp_path, limit, own=[True, False], stages=2)


@pytest.mark.parametrize("limit", NEEDS)
def test_plan_uses_what_the_entries_have(limit: str, tmp_path: Path) -> None:
    planned = _load(tmp_path, limit, own=[True, True], stages=2).plan(draws=0)
    assert planned.fits
    assert planned.stages == 2
