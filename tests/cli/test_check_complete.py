"""`check` of a configuration with every key: pairs, rail, idler, governors, fins, heat data and guide."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from stager.constraints import LIMITS
from tests.cli.run import stager

WHOLE = Path(__file__).parents[1] / "config" / "complete.toml"


@pytest.mark.filterwarnings("error")
def test_every_limit_has_a_verdict_and_a_remedy(tmp_path: Path) -> None:
    text = re.sub(r"(?m)^(push|spin) = .*\n", "", WHOLE.read_text(encoding="utf-8"))
    path = tmp_path / "complete.toml"
    path.write_text(re.sub(r"(?m)^aim = .*$", 'aim = "fastest"', text), encoding="utf-8")
    ran = stager("check", str(path), "--json")
    assert ran.err == ""
    found = json.loads(ran.out)
    assert {limit["name"] for limit in found["limits"]} == {limit.name for limit in LIMITS} - {"later_energy"}
    unknown = {limit["name"]: limit["missing"] for limit in found["limits"] if limit["kept"] is None}
    assert unknown == {
        "burst": "stage.wheel.bore", "rim_safety": "stage.wheel.bore",
        "tyre_retention": "stage.wheel.tyre.bond_strength",
    }  # fmt: skip
    # Fewer stages help only where there are too many.
    without = {limit["name"] for limit in found["limits"] if not limit["remedy"]}
    assert without - set(unknown) == {"stages"}
    assert ran.status == (0 if found["kept"] else 1)
    assert [wheel["side"] for wheel in found["drives"]["wheels"]] == ["A", "B", "A", "A"]
    assert found["drives"]["at_rate"]["throws_per_charge"] > 0
    assert [tyre["stage"] for tyre in found["tyres"]] == [1, 2, 3]
    assert len(found["safety"]["wheels"]) == 3
