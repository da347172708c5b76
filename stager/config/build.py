"""From a configuration's tables to hardware records."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stager.config.machine import File
from stager.config.reader import Reader, Source
from stager.config.tables import BellFriction, ConstantFriction, FallingFriction, RisingFriction, TabulatedFriction
from stager.config.wheels import build_drive, build_wheel
from stager.model.arrays import Number
from stager.model.drive import Supply
from stager.model.flight import Flight, Placement, Spread
from stager.model.launcher import Contact, Feed, FrictionLaw, Guide, Launcher, Measuring, Outlet, Pusher
from stager.model.projectile import SHAPES, Projectile
from stager.model.stage import LAYOUTS, Stage
from stager.physics.friction import Bell, Constant, Falling, Rising, Tabulated
from stager.physics.parts import choose


def build_launcher(file: File, raw: Mapping[str, Any], values: Mapping[str, Number]) -> Launcher:
    """The launcher, with `values` (SI, floats or arrays over the batch) in place of the file's where a key is named.

    A key of [stage] reaches every stage that has it from there. Raises KeyError where a key is none of the launcher's.
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
        speed_spread=_spread(read, "speed"),
    )  # fmt: skip


def _pusher(read: Reader) -> Pusher:
    return Pusher(force=read.number("force"), travel=read.number("travel"), return_time=read.number("return_time"))


def _law(read: Reader | None) -> FrictionLaw:
    if read is None:
        raise ValueError("a contact needs a friction law")
    builder = _BUILDERS[type(read.table)]
    law: FrictionLaw = builder(read)
    return law


_BUILDERS: dict[type, Any] = {
    ConstantFriction: lambda read: Constant(read.number("coefficient")),
    FallingFriction: lambda read: Falling(*map(read.number, ("static", "sliding", "fade_speed", "fade_exponent"))),
    BellFriction: lambda read: Bell(*map(read.number, ("peak", "peak_speed", "width"))),
    RisingFriction: lambda read: Rising(*map(read.number, ("static", "sliding", "rise_speed"))),
    TabulatedFriction: lambda read: Tabulated(read.numbers("slip"), read.numbers("coefficient")),
}


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
    """From shot to shot, where the table tells it."""
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
    return Supply(voltage=read.number("voltage"), resistance=read.number("resistance"), capacity=read.maybe("capacity"))


def _stage(read: Reader) -> Stage:
    table: Any = read.table
    ends = table.crush_range
    wheel, drive, idler = read.inner("wheel"), read.inner("drive"), read.inner("idler")
    if wheel is None:
        raise ValueError("a stage needs a wheel")
    wheels = [build_wheel(wheel)]
    wheels += [build_wheel(part) for part in read.each("wheel_options")]
    drives = [None if drive is None else build_drive(drive), *map(build_drive, read.each("drive_options"))]
    side_a, side_b = read.speeds(wheels[table.wheel_option or 0].radius)
    stage = Stage(
        layout=LAYOUTS[table.layout], wheel=wheels[0], drive=drives[0],
        crush=read.number("crush"), crush_range=None if ends is None else (ends.low.value, ends.high.value),
        clearance=read.number("clearance"), pitch=read.maybe("pitch"),
        speed=side_a, speed_b=side_b, speed_spread=_spread(read, "speed"),
        idler_inertia=None if idler is None else idler.number("inertia"),
        cost=read.maybe("cost"), mass=read.maybe("mass"),
        wheel_options=tuple(wheels[1:]), drive_options=tuple(drive for drive in drives[1:] if drive is not None),
    )  # fmt: skip
    return choose(stage, table.wheel_option, table.drive_option)
