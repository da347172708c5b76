"""A checked configuration: launcher, limits and goal built from its tables.

Its quantities stand by dotted key, with the lines that they stand in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

from stager.config.errors import dotted
from stager.config.field_types import Ends, SetSpeed
from stager.config.tables import File, StageTable, inherits
from stager.config.toml import KeyPath, key_lines, line_of, show_value
from stager.errors import InputError
from stager.model.arrays import Floats, Number
from stager.model.launcher import (
    Contact,
    Feed,
    FrictionLaw,
    Guide,
    Launcher,
    Measuring,
    Outlet,
    Pusher,
    Scenario,
    Uncertain,
)
from stager.model.projectile import SHAPES, Flight, Placement, Projectile, Spread
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import (
    LAYOUTS,
    Battery,
    Drive,
    Heat,
    Hold,
    Mount,
    Stage,
    Supply,
    Tyre,
    TyreMaterial,
    Wheel,
    WheelMaterial,
)
from stager.physics.friction import LAWS, Tabulated
from stager.physics.parts import choose
from stager.physics.safety import TOY_LIMITS
from stager.physics.wheel import TYRE_MATERIALS, WHEEL_MATERIALS, gent_modulus
from stager.units import Measured, format_quantity


class Source:
    """Values that replace those of the file, by dotted key in SI; it records which were used."""

    def __init__(self, values: Mapping[str, Number]) -> None:
        self.values = values
        self._left = set(values)

    def take(self, key: str, given: Number | None) -> Number | None:
        """Return the replacement of a key, else `given`."""
        self._left.discard(key)
        return self.values.get(key, given)

    def check(self) -> None:
        """Raise KeyError where a value was not used: its key is not one of the launcher."""
        if self._left:
            raise KeyError("no such quantity of the launcher: " + ", ".join(sorted(self._left)))


class Reader:
    """Reads the SI values of one table.

    own: keys that an entry of [[stages]] has itself; the others are inherited, with the keys of `base`.
    """

    def __init__(self, table: BaseModel, key: str, source: Source, own: Any = None, base: str = "") -> None:
        self.table, self.key, self.source, self.own, self.base = table, key, source, own, base

    def number(self, name: str) -> Number:
        """Return the SI value of a key. Raises KeyError where it is left out."""
        found = self.maybe(name)
        if found is None:
            raise KeyError(f"{self.key}.{name}")
        return found

    def maybe(self, name: str) -> Number | None:
        """Return the SI value of a key; None where it is left out."""
        measured: Measured | None = getattr(self.table, name)
        return self.source.take(self.place(name), None if measured is None else measured.value)

    def numbers(self, name: str) -> tuple[Any, ...]:
        """Return the SI values of a list."""
        place = self.place(name)
        return tuple(
            self.source.take(f"{place}.{number}", item.value)
            for number, item in enumerate(getattr(self.table, name), start=1)
        )

    def speeds(self, radius: Number) -> tuple[Number | None, Number | None]:
        """Return the set surface speeds of sides A and B [m/s], None: not set; radius: of the wheel at rest [m]."""
        place, given = self.place("speed"), _speed(self.table)
        sides = (None, None) if given is None else (given.side_a, given.side_b)
        side_a, side_b = (None if side is None else _surface(side, radius) for side in sides)
        return self.source.take(place, side_a), self.source.take(f"{place}_b", side_b)

    def inner(self, name: str) -> Reader | None:
        """Return the reader of a table within this one."""
        table = getattr(self.table, name)
        if table is None:
            return None
        own = self.own.get(name, {}) if isinstance(self.own, Mapping) else None
        return Reader(table, f"{self.key}.{name}", self.source, own, f"{self.base}.{name}")

    def each(self, name: str) -> list[Reader]:
        """Return the readers of a list of tables within this one."""
        place = self.place(name)
        return [
            Reader(table, f"{place}.{number}", self.source) for number, table in enumerate(getattr(self.table, name), 1)
        ]

    def place(self, name: str) -> str:
        """Return the dotted key of a name: that of [stage] where an entry of [[stages]] inherits it."""
        inherited = isinstance(self.own, Mapping) and inherits(self.own, name)
        return f"{self.base if inherited else self.key}.{name}"


def _speed(table: BaseModel) -> SetSpeed | None:
    found: SetSpeed | None = getattr(table, "speed", None)
    return found


def _surface(side: Measured, radius: Number) -> Number:
    return side.value if side.unit == "m/s" else side.value * radius


_HUB = ("density", "modulus", "poisson", "yield_strength", "tensile_strength", "strength_factor", "conductivity")


def build_wheel(read: Reader) -> Wheel:
    """Return a wheel; a material's single values may be replaced."""
    table: Any = read.table
    tyre, bore = read.inner("tyre"), read.maybe("bore")
    return Wheel(
        radius=read.number("radius"), width=read.maybe("width"), bore=0.0 if bore is None else bore,
        solid=bore is not None and not np.any(bore), material=_hub(read),
        inertia=read.maybe("inertia"), tyre=None if tyre is None else _tyre(tyre), name=table.name,
        cost=read.maybe("cost"), mass=read.maybe("mass"),
        radius_range=_ends(table.radius_range), inertia_range=_ends(table.inertia_range),
    )  # fmt: skip


def _ends(ends: Ends | None) -> tuple[float, float] | None:
    return None if ends is None else (ends.low.value, ends.high.value)


def _hub(read: Reader) -> WheelMaterial | None:
    table: Any = read.table
    given: dict[str, Any] = {name: value for name in _HUB if (value := read.maybe(name)) is not None}
    if table.brittle is not None:
        given["brittle"] = table.brittle
    if table.material is not None:
        return replace(WHEEL_MATERIALS[table.material], **given)
    return WheelMaterial(name="as given", **given) if "density" in given else None


def _tyre(read: Reader) -> Tyre:
    table: Any = read.table
    given: dict[str, Any] = {
        name: value for name in ("density", "modulus", "tensile_strength") if (value := read.maybe(name)) is not None
    }
    hardness = read.maybe("hardness")
    if hardness is not None and "modulus" not in given:
        given["modulus"] = gent_modulus(hardness)
    if table.material is not None:
        material = replace(TYRE_MATERIALS[table.material], **given)
    else:
        material = TyreMaterial(name="as given", **given)
    return Tyre(
        material=material, depth=read.number("depth"), stretch=read.number("stretch"), held_by=Hold(table.held_by),
        clamp_force=read.maybe("clamp_force"), hub_friction=read.maybe("hub_friction"),
        bond_strength=read.maybe("bond_strength"), lip_strength=read.maybe("lip_strength"),
    )  # fmt: skip


def build_drive(read: Reader) -> Drive:
    """Return a motor with its controller."""
    table: Any = read.table
    heat, mount = read.inner("heat"), read.inner("mount")
    limit = read.maybe("current_limit")
    return Drive(
        speed_constant=read.number("speed_constant"), resistance=read.number("resistance"),
        no_load_current=read.number("no_load_current"), no_load_known="no_load_current" in table.model_fields_set,
        current_limit=np.inf if limit is None else limit,
        max_speed=read.maybe("max_speed"), rotor_inertia=read.number("rotor_inertia"), gear=read.number("gear"),
        governed=table.governed, heat=None if heat is None else _heat(heat),
        mount=None if mount is None else _mount(mount), name=table.name, cost=read.maybe("cost"),
        mass=read.maybe("mass"),
    )  # fmt: skip


def _mount(read: Reader) -> Mount:
    table: Any = read.table
    return Mount(circle=read.number("circle"), screw=read.number("screw"), screws=table.screws)


def _heat(read: Reader) -> Heat:
    table: Any = read.table
    return Heat(
        winding_capacity=read.number("winding_capacity"), winding_to_case=read.number("winding_to_case"),
        case_capacity=read.number("case_capacity"), case_to_air=read.maybe("case_to_air"), fin_count=table.fin_count,
        fin_diameter=read.maybe("fin_diameter"), fin_thickness=read.maybe("fin_thickness"),
        fin_conductivity=read.maybe("fin_conductivity"),
    )  # fmt: skip


def build_limit_values(file: File) -> LimitValues:
    """Return the limits in SI."""
    limits = file.limits
    values: dict[str, Any] = {name: _plain(getattr(limits, name)) for name in type(limits).model_fields}
    values["toy"] = next((toy for toy in TOY_LIMITS if toy.name == limits.toy), None)
    return LimitValues(**values)


def build_goal(file: File) -> Goal:
    """Return the goal in SI."""
    goal = file.goal
    return Goal(
        aim=Aim(goal.aim),
        exit_speed=_plain(goal.exit_speed),
        spin=_plain(goal.spin),
        worthwhile=goal.worthwhile.value,
    )


def _plain(value: Any) -> Any:
    return value.value if isinstance(value, Measured) else value


def build_launcher(file: File, raw: Mapping[str, Any], values: Mapping[str, Number]) -> Launcher:
    """Return the launcher, with `values` by key (SI, floats or arrays over the batch) in place of the file's.

    A key of [stage] applies to every stage that inherits it. Raises KeyError for a key that the launcher lacks.
    """
    source = Source(values)
    launcher = _launcher(file, raw, source)
    source.check()
    return launcher


def _launcher(file: File, raw: Mapping[str, Any], source: Source) -> Launcher:
    contact = Reader(file.contact, "contact", source)
    friction = _law(contact.inner("friction"))
    rail = contact.inner("rail_friction")
    return Launcher(
        projectile=_projectile(Reader(file.projectile, "projectile", source)),
        feed=_feed(Reader(file.feed, "feed", source)),
        contact=Contact(
            stiffness=contact.number("stiffness"), exponent=contact.number("exponent"),
            rebound=contact.number("rebound"), creep=contact.number("creep"),
            stiffening=contact.number("stiffening"),
            friction=friction, rail_friction=friction if rail is None else _law(rail),
        ),
        template=_stage(Reader(file.stage, "stage", source)),
        stages=tuple(
            _stage(Reader(stage, f"stages.{number + 1}", source, raw["stages"][number], "stage"))
            for number, stage in enumerate(file.stages)
        ),
        guide=_guide(file, source),
        outlet=_outlet(file, source),
        measuring=_measuring(file, source),
        supply=_supply(file, source),
        flight=_flight(file, source),
    )  # fmt: skip


def _projectile(read: Reader) -> Projectile:
    return Projectile(
        shape=SHAPES[read.table.shape],  # type: ignore[attr-defined]
        mass=read.number("mass"), diameter=read.number("diameter"), length=read.maybe("length"),
        thickness=read.maybe("thickness"), max_acceleration=read.maybe("max_acceleration"),
        max_crush=read.maybe("max_crush"), contact_area=read.maybe("contact_area"),
        mass_spread=_spread(read, "mass"), diameter_spread=_spread(read, "diameter"),
    )  # fmt: skip


def _feed(read: Reader) -> Feed:
    pusher = read.inner("pusher")
    return Feed(
        speed=read.number("speed"), spin=read.number("spin"), rate=read.maybe("rate"), push=read.maybe("push"),
        session=read.maybe("session"), pusher=None if pusher is None else _pusher(pusher),
        magazine=read.table.magazine,  # type: ignore[attr-defined]
        speed_spread=_spread(read, "speed"),
    )  # fmt: skip


def _pusher(read: Reader) -> Pusher:
    return Pusher(force=read.number("force"), travel=read.number("travel"), return_time=read.number("return_time"))


def _law(read: Reader | None) -> FrictionLaw:
    if read is None:
        raise ValueError("a contact needs a friction law")
    law = LAWS[read.table.law]  # type: ignore[attr-defined]
    if law is Tabulated:
        return Tabulated(read.numbers("slip"), read.numbers("coefficient"))
    found: FrictionLaw = law(*(read.number(item.metadata["key"] or item.name) for item in fields(law)))  # type: ignore[arg-type]
    return found


def _guide(file: File, source: Source) -> Guide | None:
    if file.guide is None:
        return None
    return Guide(friction=Reader(file.guide, "guide", source).number("friction"), air_drag=file.guide.air_drag)


def _outlet(file: File, source: Source) -> Outlet | None:
    if file.outlet is None:
        return None
    read = Reader(file.outlet, "outlet", source)
    return Outlet(loss=read.number("loss"), length=read.number("length"))


def _flight(file: File, source: Source) -> Flight | None:
    if file.flight is None:
        return None
    read, side = Reader(file.flight, "flight", source), file.flight.side_a
    return Flight(
        height=read.number("height"), tilt=read.number("tilt"), target=read.maybe("target"), drag=read.maybe("drag"),
        side_a=None if side is None else Placement(side), tilt_spread=_spread(read, "tilt"),
        heading_spread=_spread(read, "heading"),
    )  # fmt: skip


def _spread(read: Reader, name: str) -> Spread | None:
    """Return the standard deviation from shot to shot; None where it is not given."""
    table = getattr(read.table, "spread", None)
    found: Spread | None = None if table is None else getattr(table, name)
    return found


def _measuring(file: File, source: Source) -> Measuring | None:
    if file.measuring is None:
        return None
    read = Reader(file.measuring, "measuring", source)
    return Measuring(
        wheel_speed=read.number("wheel_speed"), exit_speed=read.number("exit_speed"), distance=read.number("distance")
    )


def _supply(file: File, source: Source) -> Supply | None:
    if file.supply is None:
        return None
    read = Reader(file.supply, "supply", source)
    return Supply(
        voltage=read.number("voltage"), resistance=read.number("resistance"), capacity=read.maybe("capacity"),
        cells=file.supply.cells, batteries=tuple(_battery(one) for one in read.each("batteries")),
    )  # fmt: skip


def _battery(read: Reader) -> Battery:
    table: Any = read.table
    return Battery(
        name=table.name, cells=table.cells, capacity=read.number("capacity"), resistance=read.number("resistance"),
        mass=read.maybe("mass"), cost=read.maybe("cost"),
    )  # fmt: skip


def _stage(read: Reader) -> Stage:
    table: Any = read.table
    wheel, drive, idler = read.inner("wheel"), read.inner("drive"), read.inner("idler")
    if wheel is None:
        raise ValueError("a stage needs a wheel")
    wheels = [build_wheel(wheel)]
    wheels += [build_wheel(part) for part in read.each("wheel_options")]
    drives = [None if drive is None else build_drive(drive), *map(build_drive, read.each("drive_options"))]
    side_a, side_b = read.speeds(wheels[table.option("wheel") or 0].radius)
    stage = Stage(
        layout=LAYOUTS[table.layout], wheel=wheels[0], drive=drives[0],
        crush=read.number("crush"), crush_range=_ends(table.crush_range),
        clearance=read.number("clearance"), pitch=read.maybe("pitch"),
        speed=side_a, speed_b=side_b, speed_spread=_spread(read, "speed"),
        idler_inertia=None if idler is None else idler.number("inertia"),
        cost=read.maybe("cost"), mass=read.maybe("mass"),
        wheel_options=tuple(wheels[1:]), drive_options=tuple(drive for drive in drives[1:] if drive is not None),
    )  # fmt: skip
    return choose(stage, table.option("wheel"), table.option("drive"))


def quantities(file: File, raw: Mapping[str, Any]) -> dict[str, Measured]:
    """Return the quantities by key; one that a stage inherits from [stage] is listed there only."""
    found: dict[str, Measured] = {}
    for name in File.model_fields:
        value = getattr(file, name)
        if name == "stages":
            for number, stage in enumerate(value):
                own = raw["stages"][number]
                found.update(_walk(stage, f"stages.{number + 1}", own))
        elif name not in ("limits", "goal"):
            found.update(_walk(value, name, None))
    return found


def surface_speed(side: Measured, radius: float) -> Measured:
    """Return a set speed as surface speed [m/s]; an angular speed is converted at the radius at rest [m]."""
    if side.unit == "m/s":
        return side
    return replace(
        side, value=side.value * radius, standard_uncertainty=side.standard_uncertainty * radius, unit="m/s", written=""
    )


def _speeds(speed: SetSpeed, key: str, radius: float) -> dict[str, Measured]:
    found = {key: surface_speed(speed.side_a, radius)}
    if speed.side_b is not None:
        found[f"{key}_b"] = surface_speed(speed.side_b, radius)
    return found


def _walk(value: Any, key: str, own: Any) -> dict[str, Measured]:
    if isinstance(value, Measured):
        return {key: value}
    if isinstance(value, BaseModel):
        found: dict[str, Measured] = {}
        for name in type(value).model_fields:
            if isinstance(own, Mapping) and name not in own:
                continue
            inner = own[name] if isinstance(own, Mapping) else None
            part = getattr(value, name)
            if isinstance(part, SetSpeed) and isinstance(value, StageTable):
                found.update(_speeds(part, f"{key}.{name}", value.wheel_in.radius.value))
            else:
                found.update(_walk(part, f"{key}.{name}", inner))
        return found
    if isinstance(value, list):
        found = {}
        for number, item in enumerate(value):
            found.update(_walk(item, f"{key}.{number + 1}", None))
        return found
    return {}


def uncertain(found: Mapping[str, Measured]) -> tuple[Uncertain, ...]:
    """Return the quantities with a standard uncertainty."""
    return tuple(
        Uncertain(
            key=key, value=m.value, standard_uncertainty=m.standard_uncertainty,
            low=m.low, high=m.high, rectangular=m.rectangular,
        )
        for key, m in found.items()
        if m.standard_uncertainty > 0
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Configuration:
    """A checked configuration.

    path, text, sha256: of the file, the hash of its bytes
    raw: its TOML tree; tree: the same with the parts of its lists among the options; file: its tables
    lists: names of the lists beside it
    draws: of a fit, by key, without those of values that were set since; None: no fit
    set_since: whether values were set since the fit that `draws` hold no more
    """

    path: Path
    text: str
    sha256: str
    raw: Mapping[str, Any]
    tree: Mapping[str, Any]
    file: File
    lists: tuple[str, ...] = ()
    draws: Mapping[str, Floats] | None = None
    set_since: bool = False

    @property
    def title(self) -> str:
        """Return the launcher's title."""
        return self.file.title

    @property
    def quantities(self) -> dict[str, Measured]:
        """Return every quantity by dotted key."""
        return quantities(self.file, self.tree)

    def scenario(self) -> Scenario:
        """Return launcher, limits, goal and uncertain quantities as records."""
        found = self.quantities
        unsure = uncertain(found)
        # A value that the file gives without a ± is known: its draws are not taken.
        keys = {one.key for one in unsure}
        draws = {key: column for key, column in (self.draws or {}).items() if key in keys}
        return Scenario(
            title=self.title,
            launcher=build_launcher(self.file, self.tree, {}),
            limit_values=build_limit_values(self.file),
            goal=build_goal(self.file),
            values={key: measured.value for key, measured in found.items()},
            uncertain=tuple(one for one in unsure if not one.key.startswith("flight.")),
            flight_uncertain=tuple(one for one in unsure if one.key.startswith("flight.")),
            realise=partial(build_launcher, self.file, self.tree),
            draws=draws or None,
        )

    def to_toml(self, key: str, value: float, standard_uncertainty: float = 0.0) -> str:
        """Return the TOML text of another value [SI] for a quantity of the file, in the unit that the file uses.

        Raises KeyError where the file has no such quantity.
        """
        old = self.quantities[key]
        text = format_quantity(value, standard_uncertainty, old.unit, written=old.written)
        return text if not old.unit and not standard_uncertainty else f'"{text}"'


def speed_of(configuration: Configuration, stage: int) -> str:
    """Return `file:line: key` of the set speed of a stage, counted from 0: its own, else that of [stage].

    Where there is none, the table that lacks it.
    """
    entries = configuration.raw.get("stages", [])
    own = stage < len(entries) and "speed" in entries[stage]
    return place_of(configuration, ("stages", stage, "speed") if own else ("stage", "speed"))


def place_of(configuration: Configuration, path: KeyPath) -> str:
    """Return `file:line: key`; where the file has no such key, the line of the table that lacks it."""
    return f"{configuration.path}:{line_of(key_lines(configuration.text), path)}: {dotted(path)}"


WRITTEN: Mapping[str, Callable[[Stage], Number | None]] = {
    "crush": lambda stage: stage.crush,
    "wheel.radius": lambda stage: stage.wheel.radius,
    "wheel.width": lambda stage: stage.wheel.width,
    "wheel.inertia": lambda stage: stage.wheel.inertia,
    "wheel.mass": lambda stage: stage.wheel.mass,
    "mass": lambda stage: stage.mass,
    "idler.inertia": lambda stage: stage.idler_inertia,
}
"""Keys within a stage that change where a variable is chosen, with their values."""
RANGES = ("crush_range", "wheel.radius_range", "wheel.inertia_range")


def variable_values(configuration: Configuration, stages: Sequence[Stage]) -> dict[str, str]:
    """Return TOML text by dotted key of the values of `stages` that differ from the file's, each with the file's ±.

    Raises InputError where draws of a fit hold another value of a stage's own.
    """
    found: dict[str, str] = {}
    for key, value in WRITTEN.items():
        given = [value(stage) for stage in stages]
        if all(one is not None for one in given):
            found |= _changed_values(configuration, key, [float(np.mean(one)) for one in given if one is not None])
    return found


def _changed_values(configuration: Configuration, key: str, values: Sequence[float]) -> dict[str, str]:
    """Return TOML text of the `values` of a key, one a stage, without those that are as in the file."""
    known, found = configuration.quantities, {}
    inherit = [f"stages.{k + 1}.{key}" not in known for k in range(len(values))]
    common = {value for value, inherited in zip(values, inherit, strict=True) if inherited}
    # Draws of a fit would still contain the old value of [stage].
    together = len(common) == 1 and configuration.draws is None
    for k, (value, inherited) in enumerate(zip(values, inherit, strict=True)):
        own = f"stages.{k + 1}.{key}"
        old = known[f"stage.{key}" if inherited else own]
        if math.isclose(value, old.value, rel_tol=1e-12):
            continue
        if not inherited and configuration.draws is not None and own in configuration.draws:
            raise InputError(
                f"the draws of a fit hold the {key.rpartition('.')[2]} as it was measured", where=own,
                hint="leave out `draws`, or the range",
            )  # fmt: skip
        ratio = 1.0 if key == "crush" else value / old.value
        found[f"stage.{key}" if inherited and together else own] = show_value(_spelled(old, value, ratio))
    return found


def ranges(configuration: Configuration) -> list[str]:
    """Return the dotted keys of all ranges of design variables."""
    tables = {"stage": configuration.raw["stage"]}
    tables |= {f"stages.{number}": own for number, own in enumerate(configuration.raw.get("stages", ()), 1)}
    return [f"{place}.{key}" for place, table in tables.items() for key in RANGES if _holds(table, key)]


def _holds(table: Any, key: str) -> bool:
    for part in key.split("."):
        if not isinstance(table, Mapping) or part not in table:
            return False
        table = table[part]
    return True


def _spelled(old: Measured, value: float, ratio: float) -> str:
    """Return the text of another value in the unit of `old`, with its spread times `ratio`."""
    text = format_quantity(float(f"{value:.7g}"), unit=old.unit, written=old.written)
    if not old.standard_uncertainty:
        return text
    half = ratio * old.standard_uncertainty * (math.sqrt(3) if old.rectangular else 1.0)
    spread = format_quantity(float(f"{half:.3g}"), unit=old.unit, written=old.written)
    return f"{text} ± {spread}{' limits' if old.rectangular else ''}"
