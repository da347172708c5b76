"""The tables of a configuration file that describe a stage; and the whole file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import Field

from stager.config import kinds as t
from stager.config.ends import CrushRange
from stager.config.speed import Speed
from stager.config.tables import (
    Contact,
    Feed,
    Flight,
    Goal,
    Guide,
    Limits,
    Measuring,
    Outlet,
    Projectile,
    SpeedSpread,
    Supply,
    Table,
)
from stager.model.arrays import MOST_STAGES
from stager.physics.materials import TYRE_MATERIALS, WHEEL_MATERIALS
from stager.units import Measured


def _one_of(known: Mapping[str, object]) -> dict[str, Any]:
    """What completes the names of a table in an editor."""
    return {"enum": sorted(known)}


class Tyre(Table):
    """A tyre on the wheel: material by name, or hardness or modulus with density."""

    material: str | None = Field(None, json_schema_extra=_one_of(TYRE_MATERIALS))
    hardness: t.ShoreA | None = Field(None, description="Shore A")
    modulus: t.Stress | None = Field(None, description="Young's modulus, instead of the hardness")
    density: t.Density | None = None
    tensile_strength: t.Stress | None = None
    depth: t.Length = Field(description="radial, as fitted")
    stretch: t.Stretch = Field(Measured(0.0), description="share by which the ring is wider than unfitted")
    held_by: Literal["stretch", "clamp", "lip", "bond"] = Field("bond", description="what keeps it on")
    clamp_force: t.Force | None = Field(None, description="axial, of a clamp")
    hub_friction: t.Friction | None = Field(None, description="of the tyre on its hub")
    bond_strength: t.Bond | None = Field(None, description="of the bond between tyre and hub")
    lip_strength: t.Bond | None = Field(None, description="pressure on its seat that the lip bears")


class Wheel(Table):
    """A wheel: material by name, or density (and more) in full."""

    radius: t.Length = Field(description="to the outside of the tyre, at rest")
    width: t.Length | None = Field(None, description="along the axis")
    bore: t.Bore | None = Field(
        None, description='diameter of the hole for the shaft; a small one where left out, "0 mm": a solid wheel'
    )
    material: str | None = Field(None, json_schema_extra=_one_of(WHEEL_MATERIALS))
    density: t.Density | None = None
    modulus: t.Stress | None = Field(None, description="Young's modulus")
    poisson: t.Poisson | None = None
    yield_strength: t.Stress | None = None
    tensile_strength: t.Stress | None = None
    strength_factor: t.PositiveShare | None = Field(None, description="strength left across printed layers")
    conductivity: t.HubConductivity | None = Field(None, description="thermal, of the hub, where it cools the motor")
    brittle: bool | None = Field(None, description="burst by the elastic peak, not by the mean stress")
    inertia: t.Inertia | None = Field(None, description="from geometry where left out")
    tyre: Tyre | None = None
    name: t.Words = ""
    cost: t.Money | None = None
    mass: t.StageMass | None = None


class Heat(Table):
    """Two-node thermal model of a motor."""

    winding_capacity: t.HeatCapacity
    winding_to_case: t.ThermalResistance
    case_capacity: t.HeatCapacity
    case_to_air: t.ThermalResistance | None = None
    fin_count: int | None = Field(None, ge=1)
    fin_diameter: t.Length | None = None
    fin_thickness: t.Length | None = None
    fin_conductivity: t.Conductivity | None = None


class Mount(Table):
    """Holes that fasten a motor to the side plate."""

    circle: t.Length
    screw: t.Length
    screws: int = Field(4, ge=2, le=12)


class Drive(Table):
    """Motor and controller of each driven wheel."""

    speed_constant: t.SpeedConstant = Field(description="Kv")
    resistance: t.Resistance = Field(description="of the winding")
    no_load_current: t.NoLoadCurrent = Measured(0.0)
    current_limit: t.Current | None = Field(None, description="of the controller")
    max_speed: t.AngularSpeed | None = Field(None, description="of the motor")
    rotor_inertia: t.RotorInertia = Field(Measured(0.0), description="at the motor's shaft")
    gear: t.PositiveNumber = Field(Measured(1.0), description="motor turns per wheel turn")
    governed: bool = Field(False, description="the controller holds the speed under load")
    heat: Heat | None = None
    mount: Mount | None = None
    name: t.Words = ""
    cost: t.Money | None = None
    mass: t.StageMass | None = None


class Idler(Table):
    """The free wheel of layout "idler"."""

    inertia: t.Inertia


class Stage(Table):
    """A stage."""

    layout: Literal["pair", "rail", "idler"]
    speed: Speed | None = Field(None, description="set speed; two for the sides of a pair")
    spread: SpeedSpread | None = Field(None, description="of each wheel as it meets a projectile, from shot to shot")
    crush: t.Crush = Field(description="total: free gap is the projectile's width less this")
    crush_range: CrushRange | None = Field(None, description="ends between which the plan may choose the crush")
    clearance: t.Clearance = Field(Measured(0.005), description="between neighbouring wheels along the barrel")
    pitch: t.Length | None = Field(None, description="between axes, instead of the clearance")
    cost: t.Money | None = Field(None, description="of the whole stage, any currency")
    mass: t.StageMass | None = Field(None, description="of the whole stage")
    wheel: Wheel
    drive: Drive | None = None
    idler: Idler | None = None
    wheel_options: list[Wheel] = Field(default_factory=list, max_length=100, description="wheels to choose from")
    drive_options: list[Drive] = Field(default_factory=list, max_length=100, description="drives to choose from")
    wheel_option: int | None = Field(None, ge=0, description="the one of wheel_options that is in; 0: the wheel itself")
    drive_option: int | None = Field(None, ge=0, description="the one of drive_options that is in; 0: the drive itself")

    @property
    def wheel_in(self) -> Wheel:
        """The wheel that is in, where none is left to choose the one as written."""
        return self.wheel_options[self.wheel_option - 1] if self.wheel_option else self.wheel


class File(Table):
    """A configuration file."""

    title: t.Words = "untitled launcher"
    draws: str | None = Field(None, description="table of correlated draws that a fit has left beside this file")
    draws_sha256: str | None = Field(None, description="hash of the table of draws; a fit writes both")
    projectile: Projectile
    feed: Feed
    contact: Contact
    guide: Guide | None = None
    outlet: Outlet | None = None
    measuring: Measuring | None = None
    stage: Stage = Field(description="every stage")
    stages: list[Stage] = Field(
        default_factory=list, max_length=MOST_STAGES, description="stages that differ from [stage], in order"
    )
    supply: Supply | None = None
    flight: Flight | None = Field(None, description="where the muzzle is, and what lies before it")
    limits: Limits
    goal: Goal
