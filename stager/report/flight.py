"""Flight, landing and scatter of shots, hazards of throw and wheels: JSON, sentences, tables.

Hazards caution and never permit.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from stager.model.arrays import rounded
from stager.model.launcher import Launcher
from stager.optimise.draws import Flown
from stager.physics.flight import Arrival, Landing
from stager.physics.records import Throw
from stager.physics.safety import EYE_INJURIES, NO_SAFE_VALUE, NOT_COMPARED, Hazards, hazards
from stager.physics.scatter import Scatter, Shots
from stager.report.answer import Column, Table
from stager.report.numbers import MISSING, digits, listing, percent, speed

INTERACTION_RATIO = 1.3
"""Total scatter over the root sum of squares of its causes from which on causes are said to act together [-]."""


def summary(launcher: Launcher, flown: Flown | None) -> dict[str, Any]:
    """Return `flight` and `shots` as JSON has them, None where the configuration asks for neither."""
    landing = None if flown is None else flown.landing
    return {
        "flight": None if flown is None or landing is None else _flight(launcher, landing, flown),
        "shots": None if flown is None or flown.shots is None else _shots(flown.shots),
    }


def _flight(launcher: Launcher, landing: Landing, flown: Flown) -> dict[str, Any]:
    flight, builds = launcher.flight, flown.builds
    assert flight is not None
    target = None if flight.target is None else float(flight.target)
    return {
        "height_m": float(flight.height), "tilt_rad": float(flight.tilt),
        "without_air": _arrival(landing.vacuum), "with_drag": _arrival(landing.drag),
        "with_lift": _arrival(landing.lift),
        "target_m": target, "at_target": _arrival(landing.at_target), "danger_range_m": flown.danger,
        "gravity_loss_fraction": landing.gravity_loss,
        "builds": None if builds is None else {
            "landing_m": _scatter(builds.landing), "height_at_target_m": _scatter(builds.height)
        },
    }  # fmt: skip


def _arrival(found: Arrival | None) -> dict[str, float] | None:
    if found is None:
        return None
    return {
        "distance_m": float(found.distance), "height_m": float(found.height), "sideways_m": float(found.sideways),
        "speed_m_s": float(found.speed), "time_s": float(found.time),
    }  # fmt: skip


def _shots(found: Shots) -> dict[str, Any]:
    return {
        "exit_speed_m_s": _scatter(found.exit_speed), "landing_m": _scatter(found.landing), "target_m": found.target,
        "height_at_target_m": _scatter(found.height), "sideways_at_target_m": _scatter(found.sideways),
        "causes": [
            {"name": one.name, "exit_speed_m_s": one.exit_speed, "landing_m": one.landing,
             "height_at_target_m": one.height, "sideways_at_target_m": one.sideways}
            for one in found.causes
        ],
        "jam_fraction": found.jams, "flown": found.flown or None, "draws": found.draws,
    }  # fmt: skip


def _scatter(found: Scatter | None) -> dict[str, float] | None:
    if found is None:
        return None
    return {
        "median": found.middle, "standard_deviation": found.standard_deviation, "low": found.low, "high": found.high,
    }  # fmt: skip


def notes(launcher: Launcher, flown: Flown | None) -> list[str]:
    """Return sentences on landing, scatter of shots and its greatest cause."""
    if flown is None:
        return []
    landing = [] if flown.landing is None else _landed(launcher, flown.landing, flown)
    return [*landing, *([] if flown.shots is None else _grouped(flown.shots))]


def _landed(launcher: Launcher, landing: Landing, flown: Flown) -> list[str]:
    words = {"with drag and lift": landing.lift, "with drag": landing.drag, "without air": landing.vacuum}
    name, best = next((name, found) for name, found in words.items() if found is not None)
    range_of = () if flown.builds is None else (flown.builds.landing.low, flown.builds.landing.high)
    flights = {other: float(found.distance) for other, found in words.items() if found is not None}
    unit = unit_of(*flights.values(), *range_of)
    others = [f"{unit.text(distance)} {other}" for other, distance in flights.items() if other != name]
    builds = f", in 95 % of builds {unit.range(*range_of)}" if range_of else ""
    also = f" ({'; '.join(others)})" if others else ""
    sentences = [
        f"Flight: it lands {unit.text(float(best.distance))} away {name}{builds}{also}."
        f" {reach(flown)}: keep people farther away."
    ]
    if landing.at_target is not None:
        sentences.append(_passes(launcher, landing.at_target))
    if landing.lift_unknown:
        sentences.append("The direction of the lift from spin is not known: set flight.side_a.")
    return sentences


def danger_range(flown: Flown) -> float:
    """Return how far a throw could fly at the best tilt [m], with the digits that are shown, rounded up."""
    return rounded(flown.danger or 0.0, 3, upward=True)


def reach(flown: Flown) -> str:
    """Return how far a throw could fly at the best tilt, as the beginning of a sentence."""
    danger = danger_range(flown)
    who = listing([word for word, one in (("build", flown.builds), ("shot", flown.shots)) if one is not None])
    return f"At the best tilt {f'the fastest {who}' if who else 'it'} could reach {unit_of(danger).text(danger)}"


def _passes(launcher: Launcher, at: Arrival) -> str:
    flight = launcher.flight
    assert flight is not None
    assert flight.target is not None
    target = f"{float(flight.target):g} m"
    if not float(at.height) >= 0:
        return f"It comes to the ground before the target at {target}."
    change = float(at.height) - float(flight.height)
    unit = unit_of(change, float(at.sideways))
    where = f"{unit.text(abs(change))} {'above' if change > 0 else 'below'} the muzzle"
    sideways = "" if abs(float(at.sideways)) < 5e-4 else (
        f" and {unit.text(abs(float(at.sideways)))} to the {'right' if at.sideways > 0 else 'left'}")  # fmt: skip
    return f"At {target} it passes {where}{sideways}, at {speed(float(at.speed))} m/s."


def _grouped(found: Shots) -> list[str]:
    exits = f"{speed(found.exit_speed.low)} to {speed(found.exit_speed.high)} m/s"
    which = "95 % of shots leave" if found.jams == 0 else "95 % of the shots that leave do so"
    sentence = f"Shot to shot: {which} at {exits}"
    if found.landing is not None:
        ends = found.landing.low, found.landing.high
        sentence += f" and land {unit_of(*ends).range(*ends)} away"
    if found.height is not None and found.sideways is not None and found.target is not None:
        high, wide = (one.high - one.low for one in (found.height, found.sideways))
        unit = unit_of(high, wide)
        group = f"within {unit.text(high)} in height and {unit.text(wide)} sideways"
        sentence += f"; at {found.target:g} m they lie {group}"
    jams = f" {percent(found.jams)} of shots jam." if found.jams > 0 else ""
    most = f" Most comes from {found.causes[0].name}." if found.causes else ""
    return [f"{sentence}.{most}{jams}", *_interaction(found)]


def _interaction(found: Shots) -> list[str]:
    """Return a warning where causes together scatter more than one by one: a wheel is near its grip limit."""
    alone = float(np.sqrt(sum(one.exit_speed**2 for one in found.causes)))
    if not alone or found.exit_speed.standard_deviation < INTERACTION_RATIO * alone:
        return []
    return ["Some shots go past a grip limit and leave much slower: slightly slower wheels narrow the group."]


class LengthUnit(NamedTuple):
    """A unit of length on screens: its name, how many make a metre, digits that are shown, and where it ends [m]."""

    name: str
    per_metre: float
    digits: int
    below: float

    def text(self, value: float) -> str:
        """Return a length [m] as text."""
        return f"{self.number(value)} {self.name}" if np.isfinite(value) else MISSING

    def range(self, low: float, high: float) -> str:
        """Return two lengths [m] as text."""
        return f"{self.number(low)} to {self.number(high)} {self.name}"

    def number(self, value: float) -> str:
        """Return a length [m] as a number of this unit."""
        return digits(self.per_metre * value, self.digits)


LENGTHS = LengthUnit("mm", 1000.0, 2, 0.1), LengthUnit("cm", 100.0, 3, 1.0), LengthUnit("m", 1.0, 3, np.inf)


def unit_of(*values: float) -> LengthUnit:
    """Return the unit for lengths [m] of one sentence, by the greatest of them."""
    most = max((abs(value) for value in values if np.isfinite(value)), default=0.0)
    return next((unit for unit in LENGTHS if most < unit.below), LENGTHS[-1])


def tables(flown: Flown | None) -> list[Table]:
    """Return tables of the flight without air, with drag and with lift, and of the causes of scatter."""
    if flown is None:
        return []
    found = [] if flown.landing is None else [_flights(flown.landing)]
    return [*found, *([] if flown.shots is None or not flown.shots.causes else [_causes(flown.shots)])]


def _flights(landing: Landing) -> Table:
    rows = tuple(
        (name, digits(float(found.distance)), digits(float(found.time)), speed(float(found.speed)))
        for name, found in (
            ("without air", landing.vacuum), ("with drag", landing.drag), ("with drag and lift", landing.lift)
        )
        if found is not None
    )  # fmt: skip
    columns = Column("flight", words=True), Column("lands", "m"), Column("after", "s"), Column("arrives", "m/s")
    return Table("Flight from the stated height and tilt", columns, rows)


def _causes(found: Shots) -> Table:
    columns = (
        Column("cause alone", words=True), Column("exit speed", "± m/s"), Column("landing", "± m"),
        Column("height", "± mm"), Column("sideways", "± mm"),
    )  # fmt: skip
    whole = [
        None if one is None else one.standard_deviation
        for one in (found.exit_speed, found.landing, found.height, found.sideways)
    ]
    rows: list[tuple[str, ...]] = [
        (one.name, *map(_part, (one.exit_speed, one.landing, one.height, one.sideways), whole, _SCALES))
        for one in found.causes
    ]
    rows.append(("all together", *map(_part, whole, whole, _SCALES)))
    title = "Shot to shot: standard deviation from each cause"
    return Table(title, columns, tuple(rows)).without_empty(MISSING)


_SCALES = 1.0, 1.0, 1e3, 1e3
"""From SI to the units of the columns of causes."""


def _part(value: float | None, whole: float | None, scale: float) -> str:
    """Return a standard deviation to two digits, "0" below a hundredth of the whole."""
    if value is None or whole is None:
        return MISSING
    return "0" if value < 0.01 * whole else digits(scale * value, 2)


GUARD = "These are energies only: which guard a wheel needs is for standards and qualified people to say."
NO_CERTIFICATE = "This certifies nothing."


def hazard_rows(launcher: Launcher, throw: Throw) -> dict[str, Any]:
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


def hazard_notes(launcher: Launcher, throw: Throw) -> list[str]:
    """Return a line each on eye injuries, toy limits and how far it falls; nothing after a jam."""
    if throw.jammed:
        return []
    found = hazards(launcher, throw)
    return [_eye(found), _toys(found), _fall(found)]


def wheel_hazards(launcher: Launcher, throw: Throw) -> Table:
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
    ways = (
        (found.fall.vacuum, "without air"), (found.fall.drag, "with drag"),
        (found.fall.lift, "if its spin is all backspin"), (found.fall.glide, "if it flew like a flying disc"),
    )  # fmt: skip
    far = [f"{digits(rounded(distance, 3, upward=True))} m {how}" for distance, how in ways if distance is not None]
    first, *others = far
    text = ", ".join([first.replace(" m ", f" m from {found.height:g} m up ", 1), *others])
    return f"Fall: at this speed up to {text}; a faster build flies farther. {found.fall.caution}"
