"""Every limit key is computed or refused; none is silently ignored."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from stager.config import load
from stager.config.schema import NOT_YET
from stager.config.tables import LimitsTable
from stager.constraints import LIMITS
from stager.errors import InputErrors
from tests.broken.corpus import VALID
from tests.cli.run import stager

VALUES = {
    "limits.average_power": '"150 W"', "limits.peak_power": '"1.2 kW"', "limits.supply_current": '"80 A"',
    "limits.rim_safety": "3.0", "limits.winding_temperature": '"110 degC"', "limits.settled_loss": "0.05",
    "limits.voltage": '"12 V"', "feed.push": '"3 N"',
}  # fmt: skip


def _errors(text: str, tmp_path: Path) -> list[str]:
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputErrors) as caught:
        load(path)
    return [str(error).removeprefix(f"{path}:") for error in caught.value.errors]


def test_every_limit_is_computed_or_refused() -> None:
    refused = {key.removeprefix("limits.") for key in NOT_YET if key.startswith("limits.")}
    assert set(LimitsTable.model_fields) - {"confidence"} <= {limit.name for limit in LIMITS} | refused


def test_keys_without_effect_are_refused(tmp_path: Path) -> None:
    for key in NOT_YET:
        table, name = key.split(".")
        other = re.sub(rf"(?m)^{name} = .*\n", "", VALID)
        text = other.replace(f"[{table}]\n", f"[{table}]\n{name} = {VALUES[key]}\n")
        assert any(f": {key}: is not implemented yet" in error for error in _errors(text, tmp_path))


NEEDS = {
    "average_power": {"stage.drive", "supply"},
    "peak_power": {"stage.drive", "supply"},
    "supply_current": {"stage.drive", "supply"},
    "voltage": {"supply"},
    "settled_loss": {"stage.drive", "supply", "feed.rate"},
    "winding_temperature": {"stage.drive", "supply"},
    "rim_safety": {"stage.wheel.yield_strength"},
    "mass": {"stage.mass"},
    "cost": {"stage.cost"},
}
WITHOUT_PARTS = (
    (r"\[stage.drive\]\n.*\n.*\n", ""),
    (r"\[supply\]\n.*\n", ""),
    ('width = "18 mm"\nmaterial = "aluminium"', 'inertia = "4e-5 kg m^2"'),
)


@pytest.mark.parametrize("name", NEEDS)
def test_limit_without_the_data_it_needs_is_refused(name: str, tmp_path: Path) -> None:
    text = VALID
    for before, after in WITHOUT_PARTS:
        text = re.sub(before, after, text)
    value = VALUES.get(f"limits.{name}", {"mass": '"2 kg"', "cost": "100"}.get(name))
    errors = _errors(text.replace("[limits]\n", f"[limits]\n{name} = {value}\n"), tmp_path)
    needed = {line.split(": ")[1] for line in errors if line.endswith(f"is missing: limits.{name} needs it")}
    assert needed == NEEDS[name]


def test_optional_parts_need_the_data_of_limits(tmp_path: Path) -> None:
    parts = 'wheel_options = [{radius = "30 mm", width = "18 mm", density = "1 g/cm^3"}]\n'
    text = VALID.replace('crush = "4 mm"\n', f'crush = "4 mm"\n{parts}')
    errors = _errors(text.replace("[limits]\n", "[limits]\nrim_safety = 3.0\n"), tmp_path)
    assert {line.split(": ")[1] for line in errors} == {"stage.wheel_options.1.yield_strength"}


def test_winding_temperature_without_heat_data_is_not_judged(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text(VALID.replace("[limits]\n", '[limits]\nwinding_temperature = "110 degC"\n'), encoding="utf-8")
    ran = stager("check", str(path), "--speed", "8")
    expected = "Not judged, so not known to be kept: winding temperature, which needs stage.drive.heat:"
    assert expected in " ".join(ran.out.split())
    assert ran.status == 0
    document = json.loads(stager("check", str(path), "--speed", "8", "--json").out)
    assert document["kept"] is None
