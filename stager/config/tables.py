"""The tables of a configuration file, as pydantic models: what is thrown, fed, rubbed, wished for."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from stager.config import kinds as t
from stager.model.arrays import MOST_STAGES
from stager.physics.safety import TOY_LIMITS
from stager.units import Measured


class Table(BaseModel):
    """A table: no key but the known ones."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, arbitrary_types_allowed=True, validate_default=True
    )


class ProjectileSpread(Table):
    """What differs from one projectile to the next, as standard deviations."""

    mass: t.MassSpread | None = Field(None, description="standard deviation from shot to shot; % of the mass or a mass")
    diameter: t.LengthSpread | None = Field(
        None, description="standard deviation from shot to shot; the gap stays, so crush follows"
    )


class SpeedSpread(Table):
    """How a speed differs from shot to shot, as a standard deviation."""

    speed: t.SpeedSpread = Field(description="standard deviation from shot to shot; % of the speed or a speed")


class FlightSpread(Table):
    """How the direction differs from shot to shot, as standard deviations."""

    tilt: t.AngleSpread | None = Field(None, description="up and down, standard deviation from shot to shot")
    heading: t.AngleSpread | None = Field(None, description="sideways, standard deviation from shot to shot")


class Flight(Table):
    """Where the muzzle is, and what lies before it."""

    height: t.MuzzleHeight = Field(description="of the muzzle above where projectiles land")
    tilt: t.Tilt = Field(Measured(0.0), description="of the barrel above level")
    target: t.Length | None = Field(None, description="distance at which the group of shots is told")
    side_a: Literal["top", "bottom", "left", "right"] | None = Field(
        None, description="where side A is, seen from behind: says which way spin lifts a ball"
    )
    drag: t.Drag | None = Field(None, description="drag coefficient; a smooth sphere's where left out")
    spread: FlightSpread | None = None


class Projectile(Table):
    """What is thrown."""

    shape: Literal["disc", "ring", "ball", "hollow ball", "rod"]
    mass: t.Mass
    diameter: t.Length = Field(description="across the grip")
    length: t.Length | None = Field(None, description="of a rod")
    thickness: t.Length | None = Field(None, description="of a disc or ring")
    max_acceleration: t.Acceleration | None = Field(None, description="what it bears")
    max_crush: t.Length | None = Field(None, description="what it bears")
    contact_area: t.Area | None = Field(None, description="that touches what it hits; toy limits by area need it")
    spread: ProjectileSpread | None = Field(None, description="what differs from shot to shot")


class Pusher(Table):
    """What pushes projectiles into the first nip."""

    force: t.Push = Field(description="with which it pushes")
    travel: t.Travel = Field(description="of one push")
    return_time: t.ReturnTime = Field(description="until it can push again")


class Feed(Table):
    """How it enters the first nip."""

    speed: t.Speed = Field(description="into the first nip")
    spin: t.FeedSpin = Field(Measured(0.0), description="into the first nip, positive where side A drives it forward")
    rate: t.Rate | None = Field(None, description="throws per second")
    push: t.Force | None = Field(None, description="pusher's force until it lets go")
    pusher: Pusher | None = Field(None, description="what pushes projectiles in")
    session: t.Time | None = Field(None, description="how long a session lasts, for heat")
    spread: SpeedSpread | None = Field(None, description="what differs from shot to shot")


class ConstantFriction(Table):
    """One coefficient."""

    law: Literal["constant"]
    coefficient: t.Friction = Field(description="of friction, at every slip speed")


class FallingFriction(Table):
    """Friction that falls as slip grows."""

    law: Literal["falling"]
    static: t.Friction = Field(description="coefficient at little slip")
    sliding: t.Friction = Field(description="coefficient at much slip")
    fade_speed: t.FadeSpeed = Field(description="slip speed over which it falls")
    fade_exponent: t.PositiveNumber = Field(Measured(1.0), description="how sharply it falls")


class BellFriction(Table):
    """Friction that rises, peaks and falls with the logarithm of slip."""

    law: Literal["bell"]
    peak: t.Friction = Field(description="greatest coefficient")
    peak_speed: t.FadeSpeed = Field(description="slip speed of the peak")
    width: t.PositiveNumber = Field(description="of the peak, in the natural logarithm of slip")


class RisingFriction(Table):
    """Friction that rises with slip to a plateau."""

    law: Literal["rising"]
    static: t.Friction = Field(description="coefficient at little slip")
    sliding: t.Friction = Field(description="coefficient at much slip")
    rise_speed: t.FadeSpeed = Field(description="slip speed over which it rises")


class TabulatedFriction(Table):
    """Measured points."""

    law: Literal["tabulated"]
    slip: list[t.SlipSpeed] = Field(min_length=2, description="rising slip speeds")
    coefficient: list[t.Friction] = Field(min_length=2, description="one for each slip speed")


def _law(raw: Any) -> str:
    law = raw.get("law") if isinstance(raw, dict) else getattr(raw, "law", None)
    return law if isinstance(law, str) else "missing"


Friction = Annotated[
    Annotated[ConstantFriction, Tag("constant")]
    | Annotated[FallingFriction, Tag("falling")]
    | Annotated[BellFriction, Tag("bell")]
    | Annotated[RisingFriction, Tag("rising")]
    | Annotated[TabulatedFriction, Tag("tabulated")],
    Discriminator(
        _law,
        custom_error_type="law",
        custom_error_message="must name a friction law: constant, falling, bell, rising or tabulated",
    ),
]


class Contact(Table):
    """How projectile and wheel press and rub."""

    stiffness: t.Stiffness = Field(description="per side, wheel and projectile together")
    exponent: t.Exponent = Field(Measured(1.0), description="of force over crush: 1 linear, 1.5 Hertz")
    rebound: t.Share = Field(Measured(1.0), description="share of the crush energy given back")
    creep: t.Creep = Field(description="slip speed at which friction is nearly full")
    friction: Friction = Field(description="of the wheel")
    rail_friction: Friction | None = Field(None, description="the wheel's where left out")


class Guide(Table):
    """Between stages."""

    friction: t.Number = Field(Measured(0.0), description="on the projectile's weight")
    air_drag: bool = Field(False, description="whether the air slows it")


class Outlet(Table):
    """Behind the last wheel."""

    loss: t.EnergyLoss = Field(Measured(0.0), description="energy that barrel or spout takes from each throw")
    length: t.Distance = Field(Measured(0.0), description="from the last wheel's front to the opening")


class Measuring(Table):
    """How far to trust the bench."""

    wheel_speed: t.Calibration = Field(Measured(1.0), description="true wheel speed over the indicated one")
    exit_speed: t.Calibration = Field(Measured(1.0), description="true exit speed over what the chronograph shows")
    distance: t.Distance = Field(Measured(0.0), description="from the launcher to the chronograph")


class Supply(Table):
    """What feeds all drives."""

    voltage: t.Voltage
    resistance: t.SupplyResistance = Measured(0.0)
    capacity: t.Charge | None = None


class Limits(Table):
    """What must not be passed."""

    exit_energy: t.Energy = Field(description="½mv² as it leaves; always required")
    stages: int = Field(6, ge=0, le=MOST_STAGES, description="most stages")
    length: t.Length | None = Field(None, description="along the barrel")
    average_power: t.Power | None = Field(None, description="electrical, at feed.rate")
    peak_power: t.Power | None = Field(None, description="electrical, at spin-up")
    supply_current: t.Current | None = Field(None, description="of all drives together")
    rim_safety: t.PositiveNumber | None = Field(None, description="least strength over stress of a wheel")
    exit_speed: t.ExitSpeed | None = Field(None, description="as it leaves")
    wheel_speed: t.ExitSpeed | None = Field(None, description="surface speed of any wheel")
    energy_per_area: t.EnergyPerArea | None = Field(None, description="exit energy by the area seen from the front")
    winding_temperature: t.Temperature | None = Field(
        None, description='of the motors, at feed.rate; also a thermal class as "class F"'
    )
    settled_loss: t.LossShare | None = Field(None, description="share of exit speed lost at feed.rate")
    slip_heat: t.Energy | None = Field(None, description="per throw, both sides, all stages")
    toy: str | None = Field(
        None,
        description="a published limit on toy projectiles, by name",
        json_schema_extra={"enum": [limit.name for limit in TOY_LIMITS]},
    )
    voltage: t.Voltage | None = Field(None, description="at a motor")
    mass: t.StageMass | None = Field(None, description="of all stages")
    cost: t.Money | None = Field(None, description="of all stages")
    acceleration: t.Acceleration | None = Field(None, description="of the projectile")
    grip_margin: t.GripMargin = Field(Measured(0.0), description="each wheel at least this share below its grip limit")
    confidence: t.Confidence = Field(
        Measured(0.95), description="least share of builds that keep all limits together that can hurt or break"
    )


class Goal(Table):
    """What the plan is for."""

    aim: Literal["fastest", "reach", "steadiest"] = Field(
        description="what to plan for: the greatest exit speed, a given one, or what varies least at a given one"
    )
    exit_speed: t.ExitSpeed | None = Field(None, description='to leave at, for aim "reach" and "steadiest"')
    spin: t.Spin | None = Field(None, description="to reach, positive where side A drives it forward; a pair only")
    worthwhile: t.Number = Field(Measured(0.08), description="least gain that pays for one more stage")
