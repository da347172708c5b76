"""The tables of a configuration file, as pydantic models: what is thrown, fed, rubbed, wished for."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from stager.config import types as t
from stager.quantity import Measured


class Table(BaseModel):
    """A table: no key but the known ones."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Projectile(Table):
    """What is thrown."""

    shape: Literal["disc", "ring", "ball", "hollow ball", "rod"]
    mass: t.Mass
    diameter: t.Length = Field(description="across the grip")
    length: t.Length | None = Field(None, description="of a rod")
    thickness: t.Length | None = Field(None, description="of a disc or ring")
    max_acceleration: t.Acceleration | None = Field(None, description="what it bears")
    max_crush: t.Length | None = Field(None, description="what it bears")


class Feed(Table):
    """How it enters the first nip."""

    speed: t.Speed
    rate: t.Rate | None = Field(None, description="throws per second")
    push: t.Force | None = Field(None, description="pusher's force until it lets go")
    session: t.Time | None = Field(None, description="how long a session lasts, for heat")


class ConstantFriction(Table):
    """One coefficient."""

    law: Literal["constant"]
    coefficient: t.Friction


class FallingFriction(Table):
    """Friction that falls as slip grows."""

    law: Literal["falling"]
    static: t.Friction
    sliding: t.Friction
    fade_speed: t.Speed
    fade_exponent: t.PositiveNumber = Measured(1.0)


class BellFriction(Table):
    """Friction that rises, peaks and falls with the logarithm of slip."""

    law: Literal["bell"]
    peak: t.Friction
    peak_speed: t.Speed
    width: t.PositiveNumber


class TabulatedFriction(Table):
    """Measured points."""

    law: Literal["tabulated"]
    slip: list[t.SlipSpeed] = Field(min_length=2)
    coefficient: list[t.Friction] = Field(min_length=2)


def _law(raw: Any) -> str:
    law = raw.get("law") if isinstance(raw, dict) else getattr(raw, "law", None)
    return law if isinstance(law, str) else "missing"


Friction = Annotated[
    Annotated[ConstantFriction, Tag("constant")]
    | Annotated[FallingFriction, Tag("falling")]
    | Annotated[BellFriction, Tag("bell")]
    | Annotated[TabulatedFriction, Tag("tabulated")],
    Discriminator(
        _law,
        custom_error_type="law",
        custom_error_message="must name a friction law: constant, falling, bell or tabulated",
    ),
]


class Contact(Table):
    """How projectile and wheel press and rub."""

    stiffness: t.Stiffness = Field(description="per side, wheel and projectile together")
    exponent: t.Exponent = Measured(1.0)
    rebound: t.Share = Field(Measured(1.0), description="share of the crush energy given back")
    creep: t.Creep
    friction: Friction
    rail_friction: Friction | None = Field(None, description="the wheel's where left out")


class Guide(Table):
    """Between stages."""

    friction: t.Number = Measured(0.0)
    air_drag: bool = False


class Supply(Table):
    """What feeds all drives."""

    voltage: t.Voltage
    resistance: t.SupplyResistance = Measured(0.0)
    capacity: t.Charge | None = None


class Limits(Table):
    """What must not be passed."""

    exit_energy: t.Energy = Field(description="½mv²; always required")
    stages: int = Field(6, ge=0, le=12)
    length: t.Length | None = None
    average_power: t.Power | None = None
    peak_power: t.Power | None = None
    supply_current: t.Current | None = None
    rim_safety: t.PositiveNumber | None = None
    exit_speed: t.Speed | None = None
    wheel_speed: t.Speed | None = None
    energy_per_area: t.EnergyPerArea | None = None
    winding_temperature: t.Temperature | None = None
    settled_loss: t.PositiveShare | None = None
    slip_heat: t.Energy | None = None
    voltage: t.Voltage | None = None
    mass: t.Mass | None = None
    cost: t.Money | None = None
    acceleration: t.Acceleration | None = None
    grip_margin: Annotated[Measured, t.Kind("", "0.05", at_least=0, below=1)] = Measured(0.0)


class Goal(Table):
    """What the plan is for."""

    aim: Literal["fastest", "reach", "steadiest"]
    exit_speed: t.Speed | None = None
    spin: t.Spin | None = None
    worthwhile: t.Number = Field(Measured(0.08), description="least gain that pays for one more stage")
