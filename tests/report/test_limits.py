"""Limits in tables and documents: units, margins, verdicts and remedies."""

from __future__ import annotations

import numpy as np
import pytest

from stager.constraints import LimitResult, NotJudged, speed_range
from stager.model.requirements import LimitValues
from stager.report import limits
from tests.drive.machines import launcher


def _result(name: str, unit: str, used: float, allowed: float, origin: float = 0.0) -> LimitResult:
    return LimitResult(
        name=name, unit=unit, value=np.asarray(used), bound=np.asarray(allowed),
        slack=np.asarray((allowed - used) / (allowed - origin)), remedy="less of it",
    )  # fmt: skip


TEMPERATURE = _result("winding_temperature", "K", 333.15, 383.15, origin=288.15)
LENGTH = _result("length", "m", 0.7, 0.5)
MASS = NotJudged(name="mass", unit="kg", bound=2.0, missing="stage.mass")


def test_temperature_is_celsius_on_screens_and_kelvin_in_documents() -> None:
    rows = limits.rows([TEMPERATURE])
    assert rows[0]["used"] == 333.15
    cells = limits.table(rows, ["kept"]).rows[0]
    assert cells[:5] == ("winding temperature", "60.0", "110", "°C", "50 K")


def test_unjudged_limit_is_neither_kept_nor_broken() -> None:
    rows = limits.rows([LENGTH], [MASS])
    assert [row["kept"] for row in rows] == [False, None]
    assert [limits.word(row) for row in rows] == ["BROKEN", "not judged"]
    assert limits.table(rows, ["BROKEN", "not judged"]).rows[1][1:4] == ("-", "2", "kg")
    assert limits.unjudged_note(rows) == ["Not judged, so not known to be kept: mass, which needs stage.mass."]


def test_limit_exceeded_by_rounding_only_is_not_broken() -> None:
    rounding, broken = (_result("slip_heat", "J", 0.6 * (1 + over), 0.6) for over in (4.5e-7, 1e-5))
    rows = limits.rows([rounding, broken])
    assert [limits.word(row) for row in rows] == ["no margin left", "BROKEN"]
    assert limits.table(rows, ["binds", "BROKEN"]).rows[0][3:5] == ("J", "0.0 %")


def test_temperature_margin_is_relative_to_ambient() -> None:
    # 60 degC of 110 degC in air of 15 degC: 50 of 95 K are left, not 50 of 383 K.
    (row,) = limits.rows([TEMPERATURE])
    assert limits.room(row) == pytest.approx(50 / 95)
    assert limits.room_text(row) == "52.6 %"


@pytest.mark.parametrize(("price", "text"), [(1.5e-7, "< 0.01"), (0.0, "0"), (0.0042, "0.42"), (None, "-")])
def test_gain_by_a_looser_limit_is_written_without_exponent(price: float | None, text: str) -> None:
    rows = limits.rows([LENGTH, TEMPERATURE])
    rows[0]["price"], rows[1]["price"] = price, 0.01
    assert limits.table(rows, ["binds", "kept"]).rows[0][-1] == text


def test_stage_margin_is_a_count() -> None:
    row = limits.rows([_result("stages", "-", 20.0, 1.0)])[0]
    assert limits.room_text(row) == "-19"
    assert "%" not in "".join(limits.table([row], ["BROKEN"]).rows[0])


def test_remedies_are_listed_by_limit() -> None:
    rows = [{**row, "remedy": "less of it"} for row in limits.rows([TEMPERATURE, LENGTH])]
    assert limits.remedies(rows).rows == (("winding temperature", "less of it"), ("length", "less of it"))


def test_wheel_at_the_end_of_its_range_needs_what_it_can_reach() -> None:
    free, only = launcher(drive=None), LimitValues(exit_energy=8.0)
    top = float(speed_range(free, only, 0).top)
    (note,) = limits.reach_notes(free, only, {0: top, 1: 0.5 * top})
    assert note.startswith("Only tyre retention limits how fast the wheels of stage 1 turn here")
    assert limits.reach_notes(free, only, {0: 0.5 * top}) == []
    # A drive, or a limit on wheel speed, says it.
    held = LimitValues(exit_energy=8.0, wheel_speed=20.0)
    assert limits.reach_notes(free, held, {0: 20.0}) == []
    driven = launcher()
    assert limits.reach_notes(driven, only, {0: float(speed_range(driven, only, 0).top)}) == []
