"""From a configuration's tables to wheels and drives."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from stager.config.reader import Reader
from stager.model.drive import Drive, Heat, Mount
from stager.model.wheel import Hold, Tyre, TyreMaterial, Wheel, WheelMaterial
from stager.physics.materials import TYRE_MATERIALS, WHEEL_MATERIALS, gent_modulus

_HUB = ("density", "modulus", "poisson", "yield_strength", "tensile_strength", "strength_factor", "conductivity")


def build_wheel(read: Reader) -> Wheel:
    """A wheel; a material's single values may be replaced."""
    table: Any = read.table
    tyre, bore = read.inner("tyre"), read.maybe("bore")
    return Wheel(
        radius=read.number("radius"), width=read.maybe("width"), bore=0.0 if bore is None else bore,
        solid=bore is not None and not np.any(bore), material=_hub(read),
        inertia=read.maybe("inertia"), tyre=None if tyre is None else _tyre(tyre), name=table.name,
        cost=read.maybe("cost") or 0.0, mass=read.maybe("mass"),
    )  # fmt: skip


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
    """A motor with its controller."""
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
