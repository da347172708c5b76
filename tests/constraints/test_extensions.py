"""Extensibility: an added limit and an added friction law work in every command without further changes."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

import stager
from stager.bounds.stages import enclosure
from stager.constraints import LIMITS, Kind, Limit, OperatingPoint
from stager.model.arrays import Floats, Number
from stager.model.stage import PAIR
from stager.optimise.planner import plan
from stager.physics.chain import throw
from stager.physics.friction import Falling

pytestmark = pytest.mark.usefixtures("few_draws")
CONFIGS = Path(__file__).resolve().parents[2] / "configs"
MAX_FIRST_EXIT = 8.0
"""Bound of the added limit: exit speed of the first stage [m/s]."""


def first_exit_speed(point: OperatingPoint) -> Number | None:
    exits = point.throw.stages.exit_speed
    return np.asarray(exits[..., 0]) if exits.shape[-1] else None


FIRST_EXIT = Limit(
    name="first_exit", kind=Kind.THROW, unit="m/s", hard=True, value=first_exit_speed,
    bound=lambda point: MAX_FIRST_EXIT, remedy=lambda point: "run the first wheel slower",
)  # fmt: skip


@pytest.fixture
def added_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Add the limit to the table in every module."""
    more = (*LIMITS, FIRST_EXIT)
    for name, module in list(sys.modules.items()):
        if name.startswith("stager") and getattr(module, "LIMITS", None) is LIMITS:
            monkeypatch.setattr(module, "LIMITS", more)


@pytest.mark.usefixtures("few_draws")
def test_added_limit_is_kept_and_reported_by_every_command(added_limit: None) -> None:
    one = stager.load(CONFIGS / "seed_ball.toml").replace({"limits.stages": 2})
    checked = one.check(12.0, 14.0)
    assert "first exit" in str(checked.answer().screen)
    assert {"first_exit"} <= {limit["name"] for limit in checked.document()["limits"]}
    plan = one.plan(draws=40)
    assert plan.best is not None
    builds = {limit["name"]: limit for limit in plan.document()["limits"]}
    assert builds["first_exit"]["used"] <= MAX_FIRST_EXIT
    # A hard limit keeps a margin for uncertainty; the second stage adds what it can.
    assert 0.85 * MAX_FIRST_EXIT < float(plan.best.throw.stages.exit_speed[0]) < MAX_FIRST_EXIT
    assert plan.best.exit_speed > 1.5 * MAX_FIRST_EXIT
    assert "first exit" in str(plan.answer().screen)
    swept = one.sweep().recommended
    assert swept is not None
    assert swept.by == "first_exit"
    assert swept.exit_speed <= MAX_FIRST_EXIT
    assert "first exit" in one.report(plan=plan).html()


def test_added_limit_on_throws_is_not_judged_after_a_jam(added_limit: None) -> None:
    slippery = {"contact.friction.static": 0.02, "contact.friction.sliding": 0.01}
    checked = stager.load(CONFIGS / "seed_ball.toml").replace(slippery).check(12.0)
    assert checked.design.throw.jammed
    judged = {limit["name"]: limit["kept"] for limit in checked.document()["limits"]}
    assert judged["first_exit"] is None
    assert judged["exit_energy"] is None
    assert judged["slip_heat"] is None
    assert judged["length"] is True


def test_added_layout_is_refused_until_kernel_and_bound_know_it() -> None:
    scenario = stager.load(CONFIGS / "seed_ball.toml").scenario
    added = replace(scenario.launcher.template, layout=replace(PAIR, name="belt"))
    launcher = replace(scenario.launcher, template=added, stages=())
    with pytest.raises(ValueError, match="belt"):
        throw(launcher, np.array([12.0]))
    assert enclosure(launcher, added, spins=False) == 'stages of layout "belt"'


@dataclass(frozen=True)
class AddedLaw:
    """An unregistered law that wraps the falling one."""

    like: Falling
    name: str = "added"

    def coefficient(self, slip: Floats, *, with_slope: bool = True) -> tuple[Floats, Floats]:
        """See Law."""
        return self.like.coefficient(slip, with_slope=with_slope)

    def greatest(self, slip: Floats) -> Floats:
        """See Law."""
        return self.like.greatest(slip)


def test_added_friction_law_is_planned_and_bounded() -> None:
    scenario = stager.load(CONFIGS / "seed_ball.toml").scenario
    contact = scenario.launcher.contact
    law = contact.friction
    assert isinstance(law, Falling)
    known, made = (
        replace(
            scenario, launcher=replace(scenario.launcher, contact=replace(contact, friction=one, rail_friction=one)),
            limit_values=replace(scenario.limit_values, stages=2), uncertain=(), draws=None,
        )
        for one in (law, AddedLaw(law))
    )  # fmt: skip
    plans = [plan(one, draws=0) for one in (known, made)]
    assert plans[0].best is not None
    assert plans[1].best is not None
    assert plans[1].best.exit_speed == pytest.approx(plans[0].best.exit_speed, rel=1e-4)
    np.testing.assert_allclose(plans[1].best.wheel_speed, plans[0].best.wheel_speed, rtol=2e-3)
    bounds = [one.bound for one in plans]
    assert bounds[0] is not None
    assert bounds[1] is not None
    assert bounds[1].speed >= plans[1].best.exit_speed * (1 - 1e-6)
    assert bounds[1].speed == pytest.approx(bounds[0].speed, rel=2e-3)
