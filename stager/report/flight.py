"""Flight, landing and scatter of shots: JSON, sentences, tables."""

from __future__ import annotations

from typing import Any

import numpy as np

from stager.model.launcher import Launcher
from stager.optimise.flown import Flown
from stager.physics.flight import Arrival, Landing
from stager.physics.scatter import Scatter, Shots
from stager.report.answer import Column, Table
from stager.report.numbers import MISSING, digits, percent, speed

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
        "target_m": target, "at_target": _arrival(landing.at_target), "danger_range_m": landing.danger,
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
    others = [f"{metres(float(found.distance))} {other}" for other, found in words.items()
              if found is not None and found is not best]  # fmt: skip
    builds = "" if flown.builds is None else f", in 95 % of builds {_range(flown.builds.landing)}"
    also = f" ({'; '.join(others)})" if others else ""
    sentences = [
        f"Flight: it lands {metres(float(best.distance))} away {name}{builds}{also}."
        f" At the best tilt it could reach {metres(landing.danger)}: keep people farther away."
    ]
    if landing.at_target is not None:
        sentences.append(_passes(launcher, landing.at_target))
    if landing.lift_unknown:
        sentences.append("The direction of the lift from spin is not known: set flight.side_a.")
    return sentences


def _passes(launcher: Launcher, at: Arrival) -> str:
    flight = launcher.flight
    assert flight is not None
    assert flight.target is not None
    target = f"{float(flight.target):g} m"
    if not float(at.height) >= 0:
        return f"It comes to the ground before the target at {target}."
    change = float(at.height) - float(flight.height)
    where = f"{metres(abs(change))} {'above' if change > 0 else 'below'} the muzzle"
    sideways = "" if abs(float(at.sideways)) < 5e-4 else (
        f" and {metres(abs(float(at.sideways)))} to the {'right' if at.sideways > 0 else 'left'}")  # fmt: skip
    return f"At {target} it passes {where}{sideways}, at {speed(float(at.speed))} m/s."


def _grouped(found: Shots) -> list[str]:
    exits = f"{speed(found.exit_speed.low)} to {speed(found.exit_speed.high)} m/s"
    sentence = f"Shot to shot: 95 % of shots leave at {exits}"
    if found.landing is not None:
        sentence += f" and land {_range(found.landing)} away"
    if found.height is not None and found.sideways is not None and found.target is not None:
        sentence += (
            f"; at {found.target:g} m they lie within {metres(found.height.high - found.height.low)} in height and"
            f" {metres(found.sideways.high - found.sideways.low)} sideways"
        )
    jams = f" {percent(found.jams)} of shots jam." if found.jams > 0 else ""
    most = f" Most comes from {found.causes[0].name}." if found.causes else ""
    return [f"{sentence}.{most}{jams}", *_interaction(found)]


def _interaction(found: Shots) -> list[str]:
    """Return a warning where causes together scatter more than one by one: a wheel is near its grip limit."""
    alone = float(np.sqrt(sum(one.exit_speed**2 for one in found.causes)))
    if not alone or found.exit_speed.standard_deviation < INTERACTION_RATIO * alone:
        return []
    return ["Some shots go past a grip limit and leave much slower: slightly slower wheels narrow the group."]


def _range(found: Scatter) -> str:
    return f"{digits(found.low)} to {digits(found.high)} m"


def metres(value: float) -> str:
    """Return a length [m] as text in millimetres, centimetres or metres."""
    if not np.isfinite(value):
        return MISSING
    if abs(value) < 0.1:
        return f"{digits(1000 * value, 2)} mm"
    return f"{digits(100 * value)} cm" if abs(value) < 1 else f"{digits(value)} m"


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
