"""Build launcher, limits and goal from the tables of a configuration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

import numpy as np
from pydantic import BaseModel

from stager.config.field_types import Ends, SetSpeed
from stager.config.tables import File, inherits
from stager.model.arrays import Number
from stager.model.drive import Battery, Drive, Heat, Mount, Supply
from stager.model.flight import Flight, Placement, Spread
from stager.model.launcher import Contact, Feed, FrictionLaw, Guide, Launcher, Measuring, Outlet, Pusher
from stager.model.projectile import SHAPES, Projectile
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import LAYOUTS, Stage
from stager.model.wheel import Hold, Tyre, TyreMaterial, Wheel, WheelMaterial
from stager.physics.friction import LAWS, Tabulated
from stager.physics.materials import TYRE_MATERIALS, WHEEL_MATERIALS, gent_modulus
from stager.physics.parts import choose
from stager.physics.safety import TOY_LIMITS
from stager.units import Measured


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
        cost=read.maybe("cost") or 0.0, mass=read.maybe("mass"),
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
        mount=None if mount is None else _mount(mount), name=table.name, cost=read.maybe("cost") or 0.0,
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
