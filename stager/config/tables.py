"""The tables of a configuration file, as pydantic models."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from stager.config import field_types as t
from stager.config.field_types import CrushRange, WheelSpeed
from stager.model.arrays import MAX_STAGES
from stager.physics.friction import LAWS
from stager.physics.safety import TOY_LIMITS
from stager.physics.wheel import TYRE_MATERIALS, WHEEL_MATERIALS
from stager.units import Measured


class BaseTable(BaseModel):
    """A table without unknown keys."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        arbitrary_types_allowed=True,
        validate_default=True,
        model_title_generator=lambda table: table.__name__.removesuffix("Table"),
    )


class ProjectileSpreadTable(BaseTable):
    """Differences from one projectile to the next, as standard deviations."""

    mass: t.MassSpread | None = Field(None, description="standard deviation from shot to shot; % of the mass or a mass")
    diameter: t.LengthSpread | None = Field(
        None, description="standard deviation from shot to shot; the gap stays, so crush follows"
    )


class SpeedSpreadTable(BaseTable):
    """Standard deviation of a speed from shot to shot."""

    speed: t.SpeedSpread = Field(description="standard deviation from shot to shot; % of the speed or a speed")


class FlightSpreadTable(BaseTable):
    """Standard deviations of the direction from shot to shot."""

    tilt: t.AngleSpread | None = Field(None, description="up and down, standard deviation from shot to shot")
    heading: t.AngleSpread | None = Field(None, description="sideways, standard deviation from shot to shot")


class FlightTable(BaseTable):
    """Muzzle and target."""

    height: t.MuzzleHeight = Field(description="of the muzzle above where projectiles land")
    tilt: t.Tilt = Field(Measured(0.0), description="of the barrel above level")
    target: t.Length | None = Field(None, description="distance at which the group of shots is told")
    side_a: Literal["top", "bottom", "left", "right"] | None = Field(
        None, description="where side A is, seen from behind: says which way spin lifts a ball"
    )
    drag: t.Drag | None = Field(None, description="drag coefficient; a smooth sphere's where left out")
    spread: FlightSpreadTable | None = None


class ProjectileTable(BaseTable):
    """The projectile."""

    shape: Literal["disc", "ring", "ball", "hollow ball", "rod"]
    mass: t.Mass
    diameter: t.Length = Field(description="across the grip")
    length: t.Length | None = Field(None, description="of a rod")
    thickness: t.Length | None = Field(None, description="of a disc or ring")
    max_acceleration: t.Acceleration | None = Field(None, description="what it bears")
    max_crush: t.Length | None = Field(None, description="what it bears")
    contact_area: t.Area | None = Field(None, description="that touches what it hits; toy limits by area need it")
    spread: ProjectileSpreadTable | None = Field(None, description="what differs from shot to shot")


class PusherTable(BaseTable):
    """Pusher into the first nip."""

    force: t.Push = Field(description="with which it pushes")
    travel: t.Travel = Field(description="of one push")
    return_time: t.ReturnTime = Field(description="until it can push again")


class FeedTable(BaseTable):
    """Feed into the first nip."""

    speed: t.Speed = Field(description="into the first nip")
    spin: t.FeedSpin = Field(Measured(0.0), description="into the first nip, positive where side A drives it forward")
    rate: t.Rate | None = Field(None, description="throws per second")
    push: t.Force | None = Field(None, description="pusher's force until it lets go")
    pusher: PusherTable | None = Field(None, description="what pushes projectiles in")
    magazine: int | None = Field(None, ge=1, le=1_000_000, description="projectiles that the magazine holds")
    session: t.Time | None = Field(None, description="how long a session lasts, for heat")
    spread: SpeedSpreadTable | None = Field(None, description="what differs from shot to shot")


class ConstantFrictionTable(BaseTable):
    """One coefficient."""

    law: Literal["constant"]
    coefficient: t.Friction = Field(description="of friction, at every slip speed")


class FallingFrictionTable(BaseTable):
    """Friction that falls as slip grows."""

    law: Literal["falling"]
    static: t.Friction = Field(description="coefficient at little slip")
    sliding: t.Friction = Field(description="coefficient at much slip")
    fade_speed: t.FadeSpeed = Field(description="slip speed over which it falls")
    fade_exponent: t.PositiveNumber = Field(Measured(1.0), description="how sharply it falls")


class BellFrictionTable(BaseTable):
    """Friction that rises, peaks and falls with the logarithm of slip."""

    law: Literal["bell"]
    peak: t.Friction = Field(description="greatest coefficient")
    peak_speed: t.FadeSpeed = Field(description="slip speed of the peak")
    width: t.PositiveNumber = Field(description="of the peak, in the natural logarithm of slip")


class RisingFrictionTable(BaseTable):
    """Friction that rises with slip to a plateau."""

    law: Literal["rising"]
    static: t.Friction = Field(description="coefficient at little slip")
    sliding: t.Friction = Field(description="coefficient at much slip")
    rise_speed: t.FadeSpeed = Field(description="slip speed over which it rises")


class TabulatedFrictionTable(BaseTable):
    """Measured points."""

    law: Literal["tabulated"]
    slip: list[t.SlipSpeed] = Field(min_length=2, description="rising slip speeds")
    coefficient: list[t.Friction] = Field(min_length=2, description="one for each slip speed")


def _law(raw: Any) -> str:
    law = raw.get("law") if isinstance(raw, dict) else getattr(raw, "law", None)
    return law if isinstance(law, str) else "missing"


Friction = Annotated[
    Annotated[ConstantFrictionTable, Tag("constant")]
    | Annotated[FallingFrictionTable, Tag("falling")]
    | Annotated[BellFrictionTable, Tag("bell")]
    | Annotated[RisingFrictionTable, Tag("rising")]
    | Annotated[TabulatedFrictionTable, Tag("tabulated")],
    Discriminator(
        _law,
        custom_error_type="law",
        custom_error_message=f"must name a friction law: {', '.join(LAWS)}",
    ),
]


class ContactTable(BaseTable):
    """Contact of projectile and wheel: stiffness, rebound and friction."""

    stiffness: t.Stiffness = Field(description="per side, wheel and projectile together")
    exponent: t.Exponent = Field(Measured(1.0), description="of force over crush: 1 linear, 1.5 Hertz")
    rebound: t.Share = Field(Measured(1.0), description="share of the crush energy given back")
    stiffening: t.Stiffening = Field(
        Measured(0.0, unit="s/m"), description="relative rise of the stiffness for each m/s of wheel speed"
    )
    creep: t.Creep = Field(description="slip speed at which friction is nearly full")
    friction: Friction = Field(description="of the wheel")
    rail_friction: Friction | None = Field(None, description="the wheel's where left out")


class GuideTable(BaseTable):
    """Barrel between stages."""

    friction: t.Number = Field(Measured(0.0), description="on the projectile's weight")
    air_drag: bool = Field(False, description="whether the air slows it")


class OutletTable(BaseTable):
    """Barrel or spout behind the last wheel."""

    loss: t.EnergyLoss = Field(Measured(0.0), description="energy that barrel or spout takes from each throw")
    length: t.Distance = Field(Measured(0.0), description="from the last wheel's front to the opening")


class MeasuringTable(BaseTable):
    """Calibration of tachometer and chronograph."""

    wheel_speed: t.Calibration = Field(Measured(1.0), description="true wheel speed over the indicated one")
    exit_speed: t.Calibration = Field(Measured(1.0), description="true exit speed over what the chronograph shows")
    distance: t.Distance = Field(Measured(0.0), description="from the launcher to the chronograph")


class BatteryTable(BaseTable):
    """A lithium battery that could be the supply."""

    name: t.Words = ""
    cells: int = Field(ge=1, le=200, description="lithium cells in series")
    capacity: t.Charge = Field(description="of the battery")
    resistance: t.SupplyResistance = Field(Measured(0.0), description="of battery and leads")
    mass: t.StageMass | None = Field(None, description="of the battery")
    cost: t.Money | None = Field(None, description="of the battery, any currency")


class SupplyTable(BaseTable):
    """Common supply of all drives."""

    voltage: t.Voltage
    resistance: t.SupplyResistance = Measured(0.0)
    capacity: t.Charge | None = None
    cells: int | None = Field(None, ge=1, le=200, description="lithium cells in series; by voltage where left out")
    batteries: list[BatteryTable] = Field(
        default_factory=list, max_length=100, description="batteries that stager motor compares"
    )
    battery_list: str | None = Field(None, description="CSV table beside this file with further batteries")


class LimitsTable(BaseTable):
    """Limits that a plan keeps."""

    exit_energy: t.Energy = Field(description="½mv² as it leaves; always required")
    stages: int = Field(6, ge=0, le=MAX_STAGES, description="most stages")
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


class GoalTable(BaseTable):
    """Goal of a plan."""

    aim: Literal["fastest", "reach", "steadiest"] = Field(
        description="what to plan for: the greatest exit speed, a given one, or what varies least at a given one"
    )
    exit_speed: t.ExitSpeed | None = Field(None, description='to leave at, for aim "reach" and "steadiest"')
    spin: t.Spin | None = Field(None, description="to reach, positive where side A drives it forward; a pair only")
    worthwhile: t.Number = Field(Measured(0.08), description="least gain that pays for one more stage")


def _one_of(known: Mapping[str, object]) -> dict[str, Any]:
    """Return schema keys that let an editor complete names."""
    return {"enum": sorted(known)}


class TyreTable(BaseTable):
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


class WheelTable(BaseTable):
    """A wheel: material by name, or density (and more) in full."""

    radius: t.Length = Field(description="to the outside of the tyre, at rest")
    radius_range: t.RadiusRange | None = Field(
        None, description="ends between which the plan may choose the radius of wheels of this make"
    )
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
    inertia_range: t.InertiaRange | None = Field(
        None, description="ends between which the plan may choose the inertia, by a wider or narrower wheel"
    )
    tyre: TyreTable | None = None
    name: t.Words = ""
    cost: t.Money | None = None
    mass: t.StageMass | None = None


class HeatTable(BaseTable):
    """Two-node thermal model of a motor."""

    winding_capacity: t.HeatCapacity
    winding_to_case: t.ThermalResistance
    case_capacity: t.HeatCapacity
    case_to_air: t.ThermalResistance | None = None
    fin_count: int | None = Field(None, ge=1)
    fin_diameter: t.Length | None = None
    fin_thickness: t.Length | None = None
    fin_conductivity: t.Conductivity | None = None


class MountTable(BaseTable):
    """Holes that fasten a motor to the side plate."""

    circle: t.Length
    screw: t.Length
    screws: int = Field(4, ge=2, le=12)


class DriveTable(BaseTable):
    """Motor and controller of each driven wheel."""

    speed_constant: t.SpeedConstant = Field(description="Kv")
    resistance: t.Resistance = Field(description="of the winding")
    no_load_current: t.NoLoadCurrent = Measured(0.0)
    current_limit: t.Current | None = Field(None, description="of the controller")
    max_speed: t.AngularSpeed | None = Field(None, description="of the motor")
    rotor_inertia: t.RotorInertia = Field(Measured(0.0), description="at the motor's shaft")
    gear: t.PositiveNumber = Field(Measured(1.0), description="motor turns per wheel turn")
    governed: bool = Field(False, description="the controller holds the speed under load")
    heat: HeatTable | None = None
    mount: MountTable | None = None
    name: t.Words = ""
    cost: t.Money | None = None
    mass: t.StageMass | None = None


class IdlerTable(BaseTable):
    """The free wheel of layout "idler"."""

    inertia: t.Inertia


class StageTable(BaseTable):
    """A stage."""

    layout: Literal["pair", "rail", "idler"]
    speed: WheelSpeed | None = Field(None, description="set speed; two for the sides of a pair")
    spread: SpeedSpreadTable | None = Field(
        None, description="of each wheel as it meets a projectile, from shot to shot"
    )
    crush: t.Crush = Field(description="total: free gap is the projectile's width less this")
    crush_range: CrushRange | None = Field(None, description="ends between which the plan may choose the crush")
    clearance: t.Clearance = Field(Measured(0.005), description="between neighbouring wheels along the barrel")
    pitch: t.Length | None = Field(None, description="between axes, instead of the clearance")
    cost: t.Money | None = Field(None, description="of the whole stage, any currency")
    mass: t.StageMass | None = Field(None, description="of the whole stage")
    wheel: WheelTable
    drive: DriveTable | None = None
    idler: IdlerTable | None = None
    wheel_options: list[WheelTable] = Field(default_factory=list, max_length=100, description="wheels to choose from")
    drive_options: list[DriveTable] = Field(default_factory=list, max_length=100, description="drives to choose from")
    wheel_list: str | None = Field(None, description="CSV table beside this file with further wheels to choose from")
    drive_list: str | None = Field(None, description="CSV table beside this file with further drives to choose from")
    wheel_option: t.OptionName | None = Field(
        None, description="number or name of the one of wheel_options that is in; 0: the wheel itself"
    )
    drive_option: t.OptionName | None = Field(
        None, description="number or name of the one of drive_options that is in; 0: the drive itself"
    )

    @property
    def wheel_in(self) -> WheelTable:
        """Return the wheel of the stage: that of `wheel_option`, else `wheel`."""
        number = self.option("wheel")
        return self.wheel_options[number - 1] if number else self.wheel

    def option(self, kind: Literal["wheel", "drive"]) -> int | None:
        """Return the number of the option that is in, 0: none of them; None where it is to be chosen.

        Raises ValueError where there is no option of that name.
        """
        chosen: int | str | None = self.wheel_option if kind == "wheel" else self.drive_option
        options: list[Any] = [*(self.wheel_options if kind == "wheel" else self.drive_options)]
        return 1 + [part.name for part in options].index(chosen) if isinstance(chosen, str) else chosen


PART_LISTS = {"wheel_list": "wheel_options", "drive_list": "drive_options", "battery_list": "batteries"}
"""Keys of a stage, or of the supply, that name a list, with the options that it continues."""


class File(BaseTable):
    """A configuration file."""

    title: t.Words = "untitled launcher"
    draws: str | None = Field(None, description="table of correlated draws that a fit has left beside this file")
    draws_sha256: str | None = Field(None, description="hash of the table of draws; a fit writes both")
    misfit: t.Words = Field("", description="what speaks against the model in the throws of a fit, which writes it")
    projectile: ProjectileTable
    feed: FeedTable
    contact: ContactTable
    guide: GuideTable | None = None
    outlet: OutletTable | None = None
    measuring: MeasuringTable | None = None
    stage: StageTable = Field(description="every stage")
    stages: list[StageTable] = Field(
        default_factory=list, max_length=MAX_STAGES, description="stages that differ from [stage], in order"
    )
    supply: SupplyTable | None = None
    flight: FlightTable | None = Field(None, description="muzzle and target")
    limits: LimitsTable
    goal: GoalTable


_IN_FULL = ("density", "modulus", "poisson", "yield_strength", "tensile_strength", "strength_factor", "brittle")
INSTEAD = {
    "clearance": ("pitch",),
    "pitch": ("clearance",),
    "material": (*_IN_FULL, "hardness"),
    "hardness": ("modulus",),
    "modulus": ("hardness",),
}
"""Keys of [stage] that a key of an entry replaces, as both give the same quantity."""


def merged(raw: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the file with complete [[stages]] entries: keys of [stage] are inherited."""
    base, stages = raw.get("stage"), raw.get("stages")
    if not isinstance(base, dict) or not isinstance(stages, list):
        return raw
    return {**raw, "stages": [lay_over(base, own) if isinstance(own, dict) else own for own in stages]}


def lay_over(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Return `base` with the keys of `own` over it, tables within likewise."""
    out = {key: value for key, value in base.items() if inherits(own, key)}
    for key, value in own.items():
        below = base.get(key)
        both = isinstance(value, dict) and isinstance(below, dict)
        out[key] = lay_over(below, value) if both else value  # type: ignore[arg-type]
    return out


def inherits(own: Mapping[str, Any], key: str) -> bool:
    """Return whether an entry inherits a key of [stage]: it has neither the key nor one that replaces it."""
    return key not in own and not any(key in INSTEAD.get(other, ()) for other in own)
