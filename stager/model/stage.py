"""One stage, and its layout: pair, rail or idler."""

from __future__ import annotations

from dataclasses import dataclass

from stager.model.arrays import Number
from stager.model.drive import Drive
from stager.model.flight import Spread
from stager.model.wheel import Wheel


@dataclass(frozen=True, slots=True)
class Layout:
    """What is on side B, opposite the driven wheel.

    side_b_turns: side B is a wheel
    side_b_driven: side B has a drive of its own
    crush_share: share of the crush that side A takes [-]
    """

    name: str
    side_b_turns: bool
    side_b_driven: bool
    crush_share: float

    @property
    def driven_wheels(self) -> int:
        """Return the number of driven wheels of a stage."""
        return 2 if self.side_b_driven else 1


PAIR = Layout("pair", side_b_turns=True, side_b_driven=True, crush_share=0.5)
RAIL = Layout("rail", side_b_turns=False, side_b_driven=False, crush_share=1.0)
IDLER = Layout("idler", side_b_turns=True, side_b_driven=False, crush_share=0.5)
LAYOUTS = {layout.name: layout for layout in (PAIR, RAIL, IDLER)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A stage as it is built.

    crush: of both sides together [m]
    drive: of each driven wheel (a pair has two); None: unknown
    clearance: between the wheels of neighbouring stages [m]; pitch: between their axes, instead of it [m]
    speed, speed_b: set surface speeds of sides A and B [m/s]
    speed_spread: of a wheel's speed as it meets a projectile, from shot to shot; None: unknown
    idler_inertia [kg m^2]; cost [any currency]; mass [kg]
    crush_range: least and greatest crush that the search may choose [m]; None: the crush is fixed
    wheel_options, drive_options: catalogue that the search chooses from
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
