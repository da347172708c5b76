"""The tables of a configuration file that describe a stage; and the whole file."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from stager.config import types as t
from stager.config.tables import Contact, Feed, Goal, Guide, Limits, Projectile, Supply, Table
from stager.physics.materials import TYRE_MATERIALS, WHEEL_MATERIALS
from stager.quantity import Measured, QuantityError, parse


class Tyre(Table):
    """A tyre on the wheel: material by name, or hardness or modulus with density."""

    material: str | None = Field(None, description="one of: " + ", ".join(sorted(TYRE_MATERIALS)))
    hardness: t.ShoreA | None = Field(None, description="Shore A")
    modulus: t.Stress | None = None
    density: t.Density | None = None
    tensile_strength: t.Stress | None = None
    depth: t.Length
    stretch: Annotated[Measured, t.Kind("", "0.05", at_least=0, at_most=1)] = Measured(0.0)
    held_by: Literal["stretch", "clamp", "lip", "bond"] = "bond"
    clamp_force: t.Force | None = None
    hub_friction: t.Friction | None = None
    bond_strength: t.Stress | None = None
    lip_strength: t.Stress | None = None


class Wheel(Table):
    """A wheel: material by name, or density (and more) in full."""

    radius: t.Length = Field(description="to the outside of the tyre, at rest")
    width: t.Length | None = None
    bore: t.LengthOrNone = Measured(0.0)
    material: str | None = Field(None, description="one of: " + ", ".join(sorted(WHEEL_MATERIALS)))
    density: t.Density | None = None
    modulus: t.Stress | None = None
    poisson: t.Poisson | None = None
    yield_strength: t.Stress | None = None
    tensile_strength: t.Stress | None = None
    strength_factor: t.PositiveShare | None = None
    brittle: bool | None = None
    inertia: t.Inertia | None = Field(None, description="from geometry where left out")
    tyre: Tyre | None = None
    name: str = ""
    cost: t.Money | None = None
    mass: t.Mass | None = None


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


class Drive(Table):
    """Motor and controller of each driven wheel."""

    speed_constant: t.SpeedConstant = Field(description="Kv")
    resistance: t.Resistance = Field(description="of the winding")
    no_load_current: t.NoLoadCurrent = Measured(0.0)
    current_limit: t.Current | None = None
    max_speed: t.AngularSpeed | None = None
    rotor_inertia: t.RotorInertia = Measured(0.0)
    gear: t.PositiveNumber = Field(Measured(1.0), description="motor turns per wheel turn")
    governed: bool = False
    heat: Heat | None = None
    name: str = ""
    cost: t.Money | None = None
    mass: t.Mass | None = None


class Idler(Table):
    """The free wheel of layout "idler"."""

    inertia: t.Inertia


def _speeds(raw: Any) -> Any:
    """Set speed, one or two ("12:9 m/s"): a tuple of texts is left for the build, which knows the radius."""
    if not isinstance(raw, str):
        raise PydanticCustomError("quantity", "{text}", {"text": f"{raw} needs a unit", "hint": 'write "17 m/s"'})
    parts = [part.strip() for part in raw.split(":")]
    unit = parts[-1].lstrip("0123456789.+-eE ")
    texts = tuple(part if part.lstrip("0123456789.+-eE ") else f"{part} {unit}".strip() for part in parts)
    example = "17 m/s"
    for text in texts:
        errors = []
        for si in ("m/s", "rad/s"):
            try:
                if parse(text, si, example).value < 0:
                    errors.append("must not be negative")
                    errors.append("")
                break
            except QuantityError as error:
                errors.append(str(error))
        if len(errors) == 2:
            refusal = {"text": f'"{text}" is no wheel speed', "hint": 'write "17 m/s" or "4000 rpm"'}
            raise PydanticCustomError("quantity", "{text}", refusal)
    if len(texts) > 2:
        raise PydanticCustomError("quantity", "{text}", {"text": "two speeds at most", "hint": 'write "12:9 m/s"'})
    return texts


SetSpeed = Annotated[Any, BeforeValidator(_speeds)]


class Stage(Table):
    """A stage."""

    layout: Literal["pair", "rail", "idler"]
    speed: SetSpeed | None = Field(None, description='set speed, "17 m/s", "4000 rpm" or "12:9 m/s"')
    crush: t.Crush = Field(description="total: free gap is the projectile's width less this")
    clearance: t.Clearance = Field(Measured(0.005), description="between neighbouring wheels along the barrel")
    pitch: t.Length | None = Field(None, description="between axes, instead of the clearance")
    cost: t.Money | None = None
    mass: t.Mass | None = None
    wheel: Wheel
    drive: Drive | None = None
    idler: Idler | None = None
    wheel_options: list[Wheel] = Field(default_factory=list)
    drive_options: list[Drive] = Field(default_factory=list)


class File(Table):
    """A configuration file."""

    title: str = "untitled launcher"
    draws: str | None = Field(None, description="table of correlated draws that a fit has left beside this file")
    projectile: Projectile
    feed: Feed
    contact: Contact
    guide: Guide | None = None
    stage: Stage
    stages: list[Stage] = Field(default_factory=list)
    supply: Supply | None = None
    limits: Limits
    goal: Goal
