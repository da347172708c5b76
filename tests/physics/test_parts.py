"""What a stage costs and weighs with other parts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.model.stage import PAIR, RAIL, Layout, Stage
from stager.physics.parts import fitted
from stager.physics.wheel import wheel_mass
from tests.drive.machines import DRIVE, launcher, wheel


def _stage(layout: Layout = PAIR, **options: Any) -> Stage:
    return replace(launcher(layout=layout).template, **options)


@pytest.mark.parametrize("layout, driven", [(PAIR, 2), (RAIL, 1)], ids=["pair", "rail"])
def test_other_wheels_add_the_mass_that_follows_from_their_material(layout: Layout, driven: int) -> None:
    wider = wheel(width=0.025, cost=3.0)
    stage = _stage(layout, wheel=wheel(cost=1.0), wheel_options=(wider,))
    other = fitted(stage, 1, 0)
    assert wheel_mass(wider) > wheel_mass(wheel())
    assert other.mass == pytest.approx(0.64 + driven * (wheel_mass(wider) - wheel_mass(wheel())))
    assert other.cost == pytest.approx(38.0 + driven * 2.0)


@pytest.mark.parametrize("unknown", [{"width": None}, {"material": None}], ids=["width", "material"])
def test_mass_of_a_stage_is_unknown_with_that_of_a_wheel(unknown: dict[str, None]) -> None:
    assert fitted(_stage(wheel_options=(wheel(**unknown),)), 1, 0).mass is None
    weighed = replace(wheel(**unknown), mass=wheel_mass(wheel()) + 0.1)
    assert fitted(_stage(wheel_options=(weighed,)), 1, 0).mass == pytest.approx(0.64 + 2 * 0.1)


MAYBE = st.none() | st.sampled_from([0.0, 1.0, 7.0])
FOUR = st.tuples(MAYBE, MAYBE, MAYBE, MAYBE)


@pytest.mark.parametrize("name, written", [("cost", 38.0), ("mass", 0.64)])
@pytest.mark.parametrize("driven", [True, False])
@given(values=FOUR)
def test_other_parts_add_the_difference_where_it_is_known(
    name: str, written: float, driven: bool, values: tuple[float | None, ...]
) -> None:
    """A stage with another wheel and drive, each of known or unknown cost or mass; without a drive of its own too."""
    bare = replace(wheel(), material=None)
    wheels = [replace(bare, **{name: value}) for value in values[:2]]  # type: ignore[arg-type]
    drives = [replace(DRIVE, **{name: value}) for value in values[2:]]  # type: ignore[arg-type]
    stage = _stage(
        wheel=wheels[0], wheel_options=(wheels[1],), drive=drives[0] if driven else None, drive_options=(drives[1],)
    )
    pairs = [values[:2], (values[2] if driven else 0.0, values[3])]
    same = getattr(fitted(stage, 0, 0), name)
    assert same == written
    found = getattr(fitted(stage, 1, 1), name)
    if any((old is None) != (new is None) for old, new in pairs):
        assert found is None
    else:
        assert found == pytest.approx(written + 2 * sum((new or 0.0) - (old or 0.0) for old, new in pairs))
