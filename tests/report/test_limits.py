"""Limits as people read them."""

from __future__ import annotations

import numpy as np
import pytest

from stager.constraints import LimitResult, NotJudged
from stager.report import limits


def _verdict(name: str, unit: str, used: float, allowed: float) -> LimitResult:
    return LimitResult(
        name=name, unit=unit, value=np.asarray(used), bound=np.asarray(allowed),
        slack=np.asarray((allowed - used) / allowed), remedy="less of it",
    )  # fmt: skip


HOT = _verdict("winding_temperature", "K", 333.15, 383.15)
LONG = _verdict("length", "m", 0.7, 0.5)
LACKS = NotJudged(name="mass", unit="kg", bound=2.0, missing="stage.mass")


def test_temperatures_are_in_degrees_on_screens_and_kelvin_in_documents() -> None:
    rows = limits.rows([HOT])
    assert rows[0]["used"] == 333.15
    cells = limits.table(rows, ["kept"]).rows[0]
    assert cells[:5] == ("winding temperature", "60.0", "110", "°C", "50 K")


def test_a_limit_that_cannot_be_judged_is_neither_kept_nor_broken() -> None:
    rows = limits.rows([LONG], [LACKS])
    assert [row["kept"] for row in rows] == [False, None]
    assert [limits.word(row) for row in rows] == ["BROKEN", "not judged"]
    assert limits.table(rows, ["BROKEN", "not judged"]).rows[1][1:4] == ("-", "2", "kg")
    assert limits.unjudged_note(rows) == ["Not judged, so not known to be kept: mass, which needs stage.mass."]


def test_a_limit_that_a_plan_goes_up_to_is_kept_by_its_throw() -> None:
    hair, more = (_verdict("slip_heat", "J", 0.6 * (1 + over), 0.6) for over in (4.5e-7, 1e-5))
    rows = limits.rows([hair, more])
    assert [limits.word(row) for row in rows] == ["no margin left", "BROKEN"]
    assert limits.table(rows, ["binds", "BROKEN"]).rows[0][3:5] == ("J", "0.0 %")


def test_a_temperature_has_room_above_the_air_not_above_absolute_zero() -> None:
    # 60 degC of 110 degC in air of 15 degC: 50 of 95 K are left, not 50 of 383 K.
    (row,) = limits.rows([HOT])
    assert limits.room(row) == pytest.approx(50 / 95)
    assert limits.room_text(row) == "52.6 %"


def test_a_number_of_stages_is_no_share() -> None:
    row = limits.rows([_verdict("stages", "-", 20.0, 1.0)])[0]
    assert limits.room_text(row) == "-19"
    assert "%" not in "".join(limits.table([row], ["BROKEN"]).rows[0])


def test_what_helps_most_is_told_limit_by_limit() -> None:
    rows = [{**row, "remedy": "less of it"} for row in limits.rows([HOT, LONG])]
    assert limits.remedies(rows).rows == (("winding temperature", "less of it"), ("length", "less of it"))
