"""From a configuration's tables to hardware records."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from stager.config.machine import File
from stager.config.tables import BellFriction, ConstantFriction, FallingFriction, TabulatedFriction
from stager.config.values import Reader
from stager.config.wheels import build_drive, build_wheel
from stager.hardware.arrays import Number
from stager.hardware.contact import Contact, FrictionLaw, Guide
from stager.hardware.drive import Supply
from stager.hardware.launcher import Feed, Launcher
from stager.hardware.projectile import SHAPES, Projectile
from stager.hardware.stage import LAYOUTS, Stage
from stager.hardware.wish import Aim, Allowances, Goal
from stager.physics.friction import Bell, Constant, Falling, Tabulated
from stager.quantity import QuantityError, parse


def build_launcher(file: File, raw: Mapping[str, Any], values: Mapping[str, Number]) -> Launcher:
    """The launcher, with `values` (SI, floats or arrays over the batch) in place of the file's where a key is named."""
    contact = Reader(file.contact, "contact", values)
    friction = _law(contact.inner("friction"))
    rail = contact.inner("rail_friction")
    return Launcher(
        projectile=_projectile(Reader(file.projectile, "projectile", values)),
        feed=_feed(Reader(file.feed, "feed", values)),
        contact=Contact(
            stiffness=contact.number("stiffness"), exponent=contact.number("exponent"),
            rebound=contact.number("rebound"), creep=contact.number("creep"),
            friction=friction, rail_friction=friction if rail is None else _law(rail),
        ),
        template=_stage(Reader(file.stage, "stage", values)),
        stages=tuple(
            _stage(Reader(stage, f"stages.{number + 1}", values, raw["stages"][number], "stage"))
            for number, stage in enumerate(file.stages)
        ),
        guide=_guide(file, values),
        supply=_supply(file, values),
    )  # fmt: skip


def _projectile(read: Reader) -> Projectile:
    return Projectile(
        shape=SHAPES[read.table.shape],  # type: ignore[attr-defined]
        mass=read.number("mass"), diameter=read.number("diameter"), length=read.maybe("length"),
        thickness=read.maybe("thickness"), max_acceleration=read.maybe("max_acceleration"),
        max_crush=read.maybe("max_crush"),
    )  # fmt: skip


def _feed(read: Reader) -> Feed:
    return Feed(
        speed=read.number("speed"), rate=read.maybe("rate"), push=read.maybe("push"), session=read.maybe("session")
    )


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
    TabulatedFriction: lambda read: Tabulated(read.numbers("slip"), read.numbers("coefficient")),
}


def _guide(file: File, values: Mapping[str, Number]) -> Guide | None:
    if file.guide is None:
        return None
    return Guide(friction=Reader(file.guide, "guide", values).number("friction"), air_drag=file.guide.air_drag)


def _supply(file: File, values: Mapping[str, Number]) -> Supply | None:
    if file.supply is None:
        return None
    read = Reader(file.supply, "supply", values)
    return Supply(voltage=read.number("voltage"), resistance=read.number("resistance"), capacity=read.maybe("capacity"))


def _stage(read: Reader) -> Stage:
    table: Any = read.table
    wheel, drive, idler = read.inner("wheel"), read.inner("drive"), read.inner("idler")
    if wheel is None:
        raise ValueError("a stage needs a wheel")
    radius = wheel.number("radius")
    speeds = [_surface_speed(text, radius) for text in table.speed or ()]
    options: dict[str, Any] = {
        "wheel_options": tuple(
            build_wheel(Reader(item, f"{read.key}.wheel_options.{i + 1}", read.values))
            for i, item in enumerate(table.wheel_options)
        ),
        "drive_options": tuple(
            build_drive(Reader(item, f"{read.key}.drive_options.{i + 1}", read.values))
            for i, item in enumerate(table.drive_options)
        ),
    }
    return Stage(
        layout=LAYOUTS[table.layout], wheel=build_wheel(wheel), drive=None if drive is None else build_drive(drive),
        crush=read.number("crush"), clearance=read.number("clearance"), pitch=read.maybe("pitch"),
        speed=speeds[0] if speeds else None, speed_b=speeds[1] if len(speeds) > 1 else None,
        idler_inertia=None if idler is None else idler.number("inertia"),
        cost=read.maybe("cost"), mass=read.maybe("mass"), **options,
    )  # fmt: skip


def _surface_speed(text: str, radius: Number) -> Number:
    """Surface speed [m/s]; a turning speed counts at the radius at rest."""
    try:
        return parse(text, "m/s", "17 m/s").value
    except QuantityError:
        return parse(text, "rad/s", "4000 rpm").value * radius


def build_allowances(file: File) -> Allowances:
    """The limits in SI."""
    limits = file.limits
    values: dict[str, Any] = {}
    for name in type(limits).model_fields:
        value = getattr(limits, name)
        values[name] = value if value is None or isinstance(value, int) else value.value
    return Allowances(**values)


def build_goal(file: File) -> Goal:
    """The goal in SI."""
    goal = file.goal
    return Goal(
        aim=Aim(goal.aim), exit_speed=None if goal.exit_speed is None else goal.exit_speed.value,
        spin=None if goal.spin is None else goal.spin.value, worthwhile=goal.worthwhile.value,
    )  # fmt: skip


def read_draws(text: str) -> dict[str, np.ndarray[Any, np.dtype[np.float64]]]:
    """Draws by key from a table whose head names the keys, comma separated. Raises ValueError where it does not fit."""
    head, *rows = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    keys = [key.strip() for key in head.split(",")]
    table = np.array([[float(cell) for cell in row.split(",")] for row in rows], dtype=np.float64)
    if table.ndim != 2 or table.shape[1] != len(keys):
        raise ValueError("rows and heads do not match")
    return {key: table[:, column] for column, key in enumerate(keys)}
