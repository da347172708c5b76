"""Pictures of other wheels: what the comparison found, where limits break, and sentences that follow its numbers."""

from __future__ import annotations

from typing import Any

import pytest

from stager.report.alternatives import trade_notes
from stager.report.figures import of_plan

KEYS = ("crush_m", "radius_m", "inertia_kg_m2")


def _row(radius: float | None = None, inertia: float | None = None, **found: Any) -> dict[str, Any]:
    given = {"exit_speed_m_s": 18.0, "droop_fraction": 0.05, "spin_up_s": 2.0, "length_m": 0.1, "broken": []}
    return {"crush_m": None, "radius_m": radius, "inertia_kg_m2": inertia, **given, **found}


RADII = [
    _row(0.04),
    _row(0.03, exit_speed_m_s=17.0, droop_fraction=0.07, spin_up_s=1.5, length_m=0.08),
    _row(0.025, exit_speed_m_s=16.0, droop_fraction=0.09, spin_up_s=1.2, length_m=0.07),
    _row(0.048, exit_speed_m_s=18.5, droop_fraction=0.04, spin_up_s=3.0, length_m=0.116),
    _row(0.06, exit_speed_m_s=None, droop_fraction=None, spin_up_s=None, length_m=None, broken=["exit_energy"]),
]


def _content(rows: list[dict[str, Any]]) -> dict[str, Any]:
    return {"traded": rows}


def test_curves_have_every_feasible_value_and_name_the_others() -> None:
    (picture,) = of_plan.wheel_pictures(_content(RADII))
    assert picture.name == "wheel-radius"
    figure = picture.paint()
    panels = figure.axes
    assert [panel.get_ylabel() for panel in panels] == ["exit (m/s)", "slows (%)", "spin-up (s)"]
    x, y = panels[0].lines[0].get_data()
    assert list(x) == pytest.approx([25.0, 30.0, 40.0, 48.0])
    assert list(y) == [16.0, 17.0, 18.0, 18.5]
    assert list(panels[1].lines[0].get_ydata()) == pytest.approx([9.0, 7.0, 5.0, 4.0])
    assert list(panels[2].lines[0].get_ydata()) == [1.2, 1.5, 2.0, 3.0]
    assert [panel.lines[1].get_xdata()[0] for panel in panels] == pytest.approx([40.0] * 3)
    assert "Beyond the limits: 60.00 mm (exit energy)." in picture.caption
    assert "Planned: 40.00 mm throws 18.00 m/s" in picture.alt
    assert [cells[-1] for cells in picture.twin.rows] == ["fits", "fits", "planned", "fits", "breaks exit energy"]


def test_without_motors_there_is_no_spin_up() -> None:
    rows = [{**row, "spin_up_s": None} for row in RADII]
    (picture,) = of_plan.wheel_pictures(_content(rows))
    assert len(picture.paint().axes) == 2
    assert "spin" not in picture.alt


@pytest.mark.parametrize("rows", [[], RADII[:1], [RADII[0], RADII[-1]]])
def test_no_picture_without_two_wheels_to_compare(rows: list[dict[str, Any]]) -> None:
    assert of_plan.wheel_pictures(_content(rows)) == []


def test_wheels_that_throw_nothing_are_told_by_what_stops_them() -> None:
    nothing = {"exit_speed_m_s": None, "droop_fraction": None, "spin_up_s": None, "length_m": None}
    larger, smaller = _row(0.05, broken=["jam"], **nothing), _row(0.03, broken=["grip_margin"], **nothing)
    (radius,) = trade_notes(_content([_row(0.04), larger, smaller]))
    assert "Larger wheels (50.00 mm) do not get the projectile through" in radius
    assert "smaller wheels (30.00 mm) do not fit within grip margin" in radius


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"exit_speed_m_s": 18.36}, "throw 2.0 % faster"),
        ({"exit_speed_m_s": 17.64}, "throw 2.0 % slower"),
        ({"droop_fraction": 0.06}, "slow 6.0 % per throw (not 5.0)"),
        ({"droop_fraction": 0.04}, "slow 4.0 % per throw (not 5.0)"),
        ({"spin_up_s": 2.5}, "spin up in 2.5 s (not 2.0)"),
        ({"spin_up_s": 1.5}, "spin up in 1.5 s (not 2.0)"),
        ({"length_m": 0.12}, "make it 20 mm longer"),
        ({"length_m": 0.08}, "make it 20 mm shorter"),
    ],
)
def test_sentence_follows_the_numbers_in_either_direction(change: dict[str, Any], words: str) -> None:
    # The nearest wheel on either side is told, not the ends of the range.
    larger, heavier = _row(0.048, **change), _row(None, 6e-4, **change)
    (radius,) = trade_notes(_content([_row(0.04), larger, _row(0.06, exit_speed_m_s=30.0)]))
    (inertia,) = trade_notes(_content([_row(None, 5e-4), heavier]))
    assert radius.startswith("Larger wheels (48.00 mm) ")
    assert inertia.startswith("Heavier wheels (0.0006 kg m²) ")
    assert words in radius
    assert words in inertia
    assert radius.count(",") == inertia.count(",")
