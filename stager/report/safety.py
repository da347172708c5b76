"""Hazards of a throw and of the wheels: JSON, sentences, table. They caution and never permit."""

from __future__ import annotations

from typing import Any

from stager.model.launcher import Launcher
from stager.physics.records import Throw
from stager.physics.safety import EYE_INJURIES, NO_SAFE_VALUE, NOT_COMPARED, Hazards, hazards
from stager.report.answer import Column, Table
from stager.report.numbers import MISSING, digits, listing

GUARD = "These are energies only: which guard a wheel needs is for standards and qualified people to say."
NO_CERTIFICATE = "This certifies nothing."


def rows(launcher: Launcher, throw: Throw) -> dict[str, Any]:
    """Return the hazards of a throw (no batch axes) as JSON has them."""
    found = hazards(launcher, throw)
    return {
        "energy_J": found.energy,
        "energy_per_area_J_m2": found.energy_per_area,
        "likely_eye_injuries": [injury.name for injury in found.injuries],
        "toy_limits": [{"name": limit.name, "kept": kept} for limit, kept in found.toys],
        "fall_height_m": found.height,
        "fall_without_air_m": found.fall.vacuum,
        "fall_with_drag_m": found.fall.drag,
        "fall_with_lift_m": found.fall.lift,
        "fall_as_flying_disc_m": found.fall.glide,
        "danger_range_m": found.fall.danger,
        "fall_caution": found.fall.caution,
        "spin_parameter": found.spin_parameter,
        "wobble_rate_rad_s": found.wobble_rate,
        "wheels": [
            {
                "stored_energy_J": wheel.stored,
                "fragment_energy_J": wheel.fragment,
                "shaft_load_N": wheel.load,
                "imbalance_force_N": wheel.imbalance,
            }
            for wheel in found.wheels
        ],
    }


def notes(launcher: Launcher, throw: Throw) -> list[str]:
    """Return a line each on eye injuries, toy limits and how far it falls; nothing after a jam."""
    if throw.jammed:
        return []
    found = hazards(launcher, throw)
    return [_eye(found), _toys(found), _fall(found)]


def wheels(launcher: Launcher, throw: Throw) -> Table:
    """Return a table of energies and forces of the wheels, a row for each stage."""
    rows = tuple(
        (str(k), digits(wheel.stored), digits(wheel.fragment), digits(wheel.load), digits(wheel.imbalance))
        for k, wheel in enumerate(hazards(launcher, throw).wheels, 1)
    )
    return Table("Each wheel, for guard, shaft and bearings", _COLUMNS, rows).without_empty(MISSING)


_COLUMNS = (
    Column("stage"),
    Column("stored", "J"),
    Column("fragment of a third", "J"),
    Column("nip load", "N"),
    Column("imbalance G 6.3", "N"),
)


def _eye(found: Hazards) -> str:
    if found.energy_per_area is None:
        return f"Eyes: the energy per area is not known, as it needs the thickness. {NO_SAFE_VALUE}"
    energy = f"Eyes: {digits(found.energy_per_area)} J/m² as it leaves."
    if not found.injuries:
        first = EYE_INJURIES[0]
        suffer = f"suffer {first.name} ({first.meaning})"
        return f"{energy} At {first.half_risk:.0f} J/m² half of the eyes hit {suffer}; less is not safe either."
    names = listing([f"{injury.name} ({injury.meaning})" for injury in found.injuries])
    return f"{energy} At least half of the eyes hit this hard suffer {names}."


def _toys(found: Hazards) -> str:
    broken = [limit.name for limit, kept in found.toys if kept is False]
    unknown = [limit.name for limit, kept in found.toys if kept is None]
    if broken:
        text = f"Toys: exceeds {listing(broken)}."
    elif unknown:
        text = "Toys: no published limit known here is broken."
    else:
        text = f"Toys: within the published limits known here. {NO_CERTIFICATE}"
    if unknown:
        text += f" Not judged: {listing(unknown)}, as projectile.contact_area is missing."
    return f"{text} {NOT_COMPARED}"


def _fall(found: Hazards) -> str:
    far = f"Fall: up to {digits(found.fall.vacuum)} m from {found.height:g} m up without air"
    drag = "" if found.fall.drag is None else f", {digits(found.fall.drag)} m with drag"
    lift = "" if found.fall.lift is None else f", {digits(found.fall.lift)} m if its spin is all backspin"
    glide = "" if found.fall.glide is None else f", {digits(found.fall.glide)} m if it flew like a flying disc"
    return f"{far}{drag}{lift}{glide}. {found.fall.caution}"
