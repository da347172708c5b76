"""What can hurt, in plain words: cautions, never a permission."""

from __future__ import annotations

from typing import Any

from stager.model.launcher import Launcher
from stager.physics.records import Throw
from stager.physics.safety import EYE_INJURIES, NO_SAFE_VALUE, NOT_COMPARED, Hazards, hazards
from stager.report.answer import Column, Table
from stager.report.numbers import MISSING, digits, listing

GUARD = "What guard a wheel needs is for standards and qualified people to say; these are energies only."
NO_CERTIFICATE = "This certifies nothing."


def rows(launcher: Launcher, throw: Throw) -> dict[str, Any]:
    """Hazards of a throw (no batch axes) as the documents have them."""
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
    """What a hit in the eye does, what toys may, how far it falls; one short line each. Nothing after a jam."""
    if throw.jammed:
        return []
    found = hazards(launcher, throw)
    return [_eye(found), _toys(found), _fall(found)]


def wheels(launcher: Launcher, throw: Throw) -> Table:
    """Energies and forces of the wheels, a row each stage."""
    rows = tuple(
        (str(k), digits(wheel.stored), digits(wheel.fragment), digits(wheel.load), digits(wheel.imbalance))
        for k, wheel in enumerate(hazards(launcher, throw).wheels, 1)
    )
    return Table("Each wheel, for guard, shaft and bearings", _COLUMNS, rows).without_empty(MISSING)


_COLUMNS = (
    Column("stage"),
    Column("stored", "J"),
    Column("a third flies off with", "J"),
    Column("nip's load", "N"),
    Column("imbalance G 6.3", "N"),
)


def _eye(found: Hazards) -> str:
    if found.energy_per_area is None:
        return f"Eyes: the thickness that its energy per area takes is not known. {NO_SAFE_VALUE}"
    energy = f"Eyes: {digits(found.energy_per_area)} J/m² as it leaves."
    if not found.injuries:
        first = EYE_INJURIES[0]
        suffer = f"suffer {first.name} ({first.meaning})"
        return f"{energy} Half of the eyes hit at {first.half_risk:.0f} J/m² {suffer}; less is not safe either."
    names = listing([f"{injury.name} ({injury.meaning})" for injury in found.injuries])
    return f"{energy} At least half of the eyes hit so hard suffer {names}."


def _toys(found: Hazards) -> str:
    broken = [limit.name for limit, kept in found.toys if kept is False]
    unknown = [limit.name for limit, kept in found.toys if kept is None]
    if broken:
        said = f"Toys: beyond {listing(broken)}."
    elif unknown:
        said = "Toys: no published limit known here is broken."
    else:
        said = f"Toys: within the published limits known here, by the area that touches. {NO_CERTIFICATE}"
    if unknown:
        said += f" Not judged: {listing(unknown)}, by the area that touches (projectile.contact_area)."
    return f"{said} {NOT_COMPARED}"


def _fall(found: Hazards) -> str:
    far = f"Fall: up to {digits(found.fall.vacuum)} m from {found.height:g} m up without air"
    drag = "" if found.fall.drag is None else f", {digits(found.fall.drag)} m with drag"
    lift = "" if found.fall.lift is None else f", {digits(found.fall.lift)} m if its spin is all backspin"
    glide = "" if found.fall.glide is None else f", {digits(found.fall.glide)} m if it flew as a flying disc does"
    return f"{far}{drag}{lift}{glide}. {found.fall.caution}"
