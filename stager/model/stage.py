"""One stage, and what grips from the other side."""

from __future__ import annotations

from dataclasses import dataclass

from stager.model.arrays import Number
from stager.model.drive import Drive
from stager.model.flight import Spread
from stager.model.wheel import Wheel


@dataclass(frozen=True, slots=True)
class Layout:
    """What side B is.

    side_b_turns: side B is a wheel; side_b_driven: it has a drive of its own;
    crush_share: share of the crush that the wheel's side takes.
    """

    name: str
    side_b_turns: bool
    side_b_driven: bool
    crush_share: float

    @property
    def driven_wheels(self) -> int:
        """Driven wheels of a stage."""
        return 2 if self.side_b_driven else 1


PAIR = Layout("pair", side_b_turns=True, side_b_driven=True, crush_share=0.5)
RAIL = Layout("rail", side_b_turns=False, side_b_driven=False, crush_share=1.0)
IDLER = Layout("idler", side_b_turns=True, side_b_driven=False, crush_share=0.5)
LAYOUTS = {layout.name: layout for layout in (PAIR, RAIL, IDLER)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A stage as it is built.

    crush: total [m]; clearance between neighbouring wheels [m], or pitch between axes [m];
    speed, speed_b: set surface speeds of side A and B [m/s]; cost [any currency]; mass [kg];
    idler_inertia [kg m^2]. `crush_range`: ends between which the crush may be chosen [m], None: as it is;
    `wheel_options`, `drive_options`: catalogue to choose from.
    A driven wheel has one motor each: a pair has two. `speed_spread`: of each wheel as it meets a projectile, from shot
    to shot (None: not known).
    """

    layout: Layout
    wheel: Wheel
    crush: Number
    drive: Drive | None = None
    clearance: Number = 0.005
    pitch: Number | None = None
    speed: Number | None = None
    speed_b: Number | None = None
    speed_spread: Spread | None = None
    idler_inertia: Number | None = None
    cost: Number | None = None
    mass: Number | None = None
    crush_range: tuple[float, float] | None = None
    wheel_options: tuple[Wheel, ...] = ()
    drive_options: tuple[Drive, ...] = ()
