"""`stager throw`: speeds, energies and spin of one throw, as screen and document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NotRequired, TypedDict

import numpy as np

from stager.model.launcher import Launcher
from stager.model.projectile import ROD, Projectile
from stager.model.requirements import Goal
from stager.model.stage import RAIL
from stager.optimise.draws import Flown
from stager.physics.flight import SPHERES, indicated_wheel_speed, outlet_speed, spin_parameter, wobble_rate
from stager.physics.mechanics import (
    spin_acceleration,
    spin_energy,
    squeeze_acceleration,
    translation_energy,
    turns_per_minute,
)
from stager.physics.records import Grip, Throw
from stager.report import flight
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import MISSING, digits, listing, plural, speed

if TYPE_CHECKING:
    from stager.optimise.records import Plan, ShownSpeeds

GRIP_WORDS = {Grip.SYNC: "sync", Grip.SLIP: "slip", Grip.JAM: "jam"}
TURN = 2 * np.pi
"""Angle of a turn [rad]."""


class StageRow(TypedDict):
    """A stage of a throw as JSON has it; side B is None where it does not turn.

    `plan` adds the last four: throttles that hold the wheels, loss of wheel speed by a throw, grip limit.
    """

    wheel_speed_m_s: float
    wheel_speed_b_m_s: float | None
    side_b_driven: bool
    rpm: float
    indicated_rpm: float
    entry_speed_m_s: float
    exit_speed_m_s: float
    wheel_speed_after_m_s: float
    wheel_speed_b_after_m_s: float | None
    spin_rad_s: float
    slip_at_exit_m_s: float
    grip: str
    contact_time_s: float
    wheel_work_J: float
    slip_heat_J: float
    crush_loss_J: float
    peak_acceleration_m_s2: float
    squeeze_m_s2: float
    spin_acceleration_m_s2: float
    throttle: NotRequired[float | None]
    throttle_b: NotRequired[float | None]
    speed_loss_fraction: NotRequired[float | None]
    grip_limit_m_s: NotRequired[float]


def answer(launcher: Launcher, throw: Throw, source: Provenance, flown: Flown | None = None) -> Answer:
    """Return the screen and document of one throw (no batch axes); a jam is a "no"."""
    content = summary(launcher, throw)
    return Answer(
        Screen(
            headline(launcher, content),
            (speeds(content["stages"]), energies(content["stages"])),
            [
                *_notes(content, launcher),
                *instruments(launcher, speeds_of(content["stages"])),
                *flight.notes(launcher, flown),
                *flight.hazard_notes(launcher, throw),
            ],
            more_tables=flight.tables(flown),
            more_notes=[*entering(launcher), *strain(content["stages"])],
        ),
        document({**content, "safety": flight.hazard_rows(launcher, throw), **flight.summary(launcher, flown)}, source),
        yes=not content["jammed"] and not content["stays_in_outlet"],
    )


def summary(launcher: Launcher, throw: Throw) -> dict[str, Any]:
    """Return a throw as JSON has it, without provenance."""
    projectile = launcher.projectile
    leaves = float(outlet_speed(launcher, throw.exit_speed))
    return {
        "exit_speed_m_s": float(throw.exit_speed),
        "outlet_speed_m_s": leaves,
        "stays_in_outlet": bool(leaves == 0 and throw.exit_speed > 0),
        "spin_rad_s": float(throw.spin),
        "exit_energy_J": float(translation_energy(leaves, projectile)),
        "spin_energy_J": float(spin_energy(throw.spin, projectile)),
        "jammed": bool(throw.jammed),
        "stages": stages(launcher, throw),
    }


def stages(launcher: Launcher, throw: Throw) -> list[StageRow]:
    """Return the stages of a throw as JSON has them; after a jam the jammed stage is the last one."""
    reached = [k for k, grip in enumerate(throw.stages.grip) if grip != Grip.NOT_REACHED]
    return [_stage(launcher, throw, k) for k in reached]


def _stage(launcher: Launcher, throw: Throw, k: int) -> StageRow:
    part, stage = throw.stages, launcher.stage(k)
    turns = stage.layout.side_b_turns
    return {
        "wheel_speed_m_s": float(part.wheel_speed_a[k]),
        "wheel_speed_b_m_s": float(part.wheel_speed_b[k]) if turns else None,
        "side_b_driven": stage.layout.side_b_driven,
        "rpm": float(turns_per_minute(part.wheel_speed_a[k], stage.wheel)),
        "indicated_rpm": indicated_rpm(launcher, k, float(part.wheel_speed_a[k])),
        "entry_speed_m_s": float(part.entry_speed[k]),
        "exit_speed_m_s": float(part.exit_speed[k]),
        "wheel_speed_after_m_s": float(part.wheel_speed_after_a[k]),
        "wheel_speed_b_after_m_s": float(part.wheel_speed_after_b[k]) if turns else None,
        "spin_rad_s": float(part.exit_spin[k]),
        "slip_at_exit_m_s": float(part.slip_at_exit[k]),
        "grip": GRIP_WORDS[Grip(part.grip[k])],
        "contact_time_s": float(part.contact_time[k]),
        "wheel_work_J": float(part.wheel_work[k]),
        "slip_heat_J": float(part.slip_heat[k]),
        "crush_loss_J": float(part.crush_loss[k]),
        "peak_acceleration_m_s2": float(part.peak_acceleration[k]),
        "squeeze_m_s2": float(squeeze_acceleration(launcher, k, part.wheel_speed_a[k], part.wheel_speed_b[k])),
        "spin_acceleration_m_s2": float(spin_acceleration(part.exit_spin[k], launcher.projectile)),
    }


STOPPED = 0.2
"""Share of its set speed below which a wheel counts as stopped by the projectile [-]."""


def _jam_reason(launcher: Launcher, row: StageRow, index: int) -> str:
    """Return why the projectile jams in the stage of a row; index: of the stage, from 0."""
    contact, enters, turns = launcher.contact, row["entry_speed_m_s"], row["wheel_speed_m_s"]
    if launcher.projectile.shape is ROD and launcher.stage(index).layout is RAIL:
        pulls, _ = contact.friction.coefficient(np.array(max(turns - enters, 0.0)), with_slope=False)
        holds, _ = contact.rail_friction.coefficient(np.array(enters), with_slope=False)
        if holds >= pulls:
            return "the rail holds it back as hard as the wheel pulls it, so it needs a rail that rubs less"
    if row["wheel_speed_after_m_s"] < STOPPED * turns:
        return "it stops its wheel, which needs more inertia, more speed or less crush"
    return "its wheel pushes back harder than friction pulls in"


def headline(launcher: Launcher, content: Mapping[str, Any]) -> str:
    """Return the headline of a throw; content: see `summary`."""
    name, count = launcher.projectile.shape.name, len(content["stages"])
    if content["jammed"]:
        return f"The {name} jams in stage {count}: {_jam_reason(launcher, content['stages'][-1], count - 1)}."
    if content["stays_in_outlet"]:
        return f"The {name} stays in the outlet, which takes all of its energy."
    behind = "" if content["outlet_speed_m_s"] == content["exit_speed_m_s"] else " and the outlet"
    return (
        f"The {name} leaves at {speed(content['outlet_speed_m_s'])} m/s with {digits(content['exit_energy_J'])} J"
        f" after {plural(count, 'stage')}{behind}."
    )


def indicated_rpm(launcher: Launcher, k: int, wheel_speed: float) -> float:
    """Return what the tachometer shows [rpm] at a true wheel speed [m/s] of stage `k` (from 0).

    launcher: its fields may be arrays of one value.
    """
    turns = turns_per_minute(wheel_speed, launcher.stage(k).wheel)
    return float(np.asarray(indicated_wheel_speed(launcher, turns)).item())


def rpm_to_set(launcher: Launcher, k: int, wheel_speed: float) -> str:
    """Return what the tachometer shall show [rpm]: `indicated_rpm` rounded down, so that limits are kept."""
    return f"{np.floor(indicated_rpm(launcher, k, wheel_speed) + CLOSE_RPM):.0f}"


CLOSE_RPM = 1e-6
"""Difference to a whole reading that comes from conversion to surface speed and back [rpm]."""


def shows_true_speeds(launcher: Launcher) -> bool:
    """Whether the tachometer shows true wheel speeds."""
    return bool(np.all(indicated_wheel_speed(launcher, 1.0) == 1.0))


def instruments(launcher: Launcher, wheel_speed: Mapping[int, float], readings: ShownSpeeds | None = None) -> list[str]:
    """Return what the tachometer shows where it does not show true speeds.

    wheel_speed: of sides A by stage, from 0 [m/s]; readings: of them with the digits that are shown, where known.
    """
    if shows_true_speeds(launcher) or not wheel_speed:
        return []
    exact = [rpm_to_set(launcher, k, u) for k, u in wheel_speed.items()]
    shown = listing(exact if readings is None else [f"{each:.0f}" for each in readings.indicated_rpm[0]])
    return [f"The speeds are true ones: set the wheels until the tachometer shows {shown} rpm (measuring.wheel_speed)."]


def speeds_of(stages: Sequence[StageRow]) -> dict[int, float]:
    """Return the wheel speed of each stage, from 0 [m/s]."""
    return {k: stage["wheel_speed_m_s"] for k, stage in enumerate(stages)}


def _notes(content: Mapping[str, Any], launcher: Launcher) -> list[str]:
    if content["jammed"]:
        return ["A faster feed, less crush, a larger wheel or more friction gets it through."]
    outlet = _outlet(content, launcher)
    if content["spin_rad_s"] == 0:
        return outlet
    return [
        *outlet,
        f"Spin {digits(content['spin_rad_s'] / TURN)} rev/s, {digits(content['spin_energy_J'])} J."
        " It is positive where side A drives it forward.",
        _spin_parameter(content["spin_rad_s"], content["outlet_speed_m_s"], launcher.projectile),
    ]


def _outlet(content: Mapping[str, Any], launcher: Launcher) -> list[str]:
    """Return a sentence on the energy that the outlet takes."""
    if content["outlet_speed_m_s"] == content["exit_speed_m_s"]:
        return []
    had = float(translation_energy(content["exit_speed_m_s"], launcher.projectile))
    return [
        f"It leaves the last wheel at {speed(content['exit_speed_m_s'])} m/s with {digits(had)} J;"
        f" the outlet takes {digits(had - content['exit_energy_J'])} J."
    ]


def _spin_parameter(spin: float, exit_speed: float, projectile: Projectile) -> str:
    """Return a sentence on the spin parameter and, unless it is a sphere, on the wobble rate."""
    text = f"Spin parameter {digits(float(spin_parameter(spin, exit_speed, projectile)))}"
    if projectile.shape in SPHERES:
        return f"{text}."
    wobble = digits(abs(float(wobble_rate(spin, projectile))) / TURN)
    return f"{text}; if it leaves at an angle it wobbles {wobble} times a second."


def entering(launcher: Launcher) -> list[str]:
    """Return a sentence on the spin with which a projectile that can roll enters the first nip."""
    if not launcher.projectile.shape.rolls:
        return []
    spin = float(launcher.feed.spin)
    return [f"It enters with {digits(spin / TURN)} rev/s of spin." if spin else "It enters without spin (feed.spin)."]


def strain(stages: Sequence[StageRow]) -> list[str]:
    """Return a sentence on the accelerations of the projectile, and which of them the limit counts."""
    if not stages:
        return []
    squeezed = max(stage["squeeze_m_s2"] for stage in stages)
    spun = max(stage["spin_acceleration_m_s2"] for stage in stages)
    along = max(stage["peak_acceleration_m_s2"] for stage in stages)
    rim = f"; spin pulls at its rim with {digits(spun)} m/s²" if spun else ""
    return [
        f"The limit on acceleration counts along the barrel, up to {digits(along)} m/s². Not counted: the wheels"
        f" squeeze it with {digits(squeezed)} m/s² across (force by mass){rim}."
    ]


def speeds(stages: Sequence[StageRow]) -> Table:
    """Return a table of speeds, a row for each stage."""
    rows = tuple(_speeds(k, stage) for k, stage in enumerate(stages, 1))
    return Table("Speeds", _SPEEDS, rows).without_empty(MISSING)


def energies(stages: Sequence[StageRow]) -> Table:
    """Return a table of energies and forces, a row for each stage."""
    return Table("Energy and forces", _ENERGY, tuple(_energy(k, stage) for k, stage in enumerate(stages, 1)))


_SPEEDS = (
    Column("stage"),
    Column("wheel", "m/s"),
    Column("side B", "m/s"),
    Column("wheel", "rpm"),
    Column("after", "m/s"),
    Column("entry", "m/s"),
    Column("exit", "m/s"),
    Column("grip", words=True),
    Column("slip", "m/s"),
    Column("spin", "rev/s"),
)
_ENERGY = (
    Column("stage"),
    Column("contact", "ms"),
    Column("wheel work", "J"),
    Column("slip heat", "J"),
    Column("crush loss", "J"),
    Column("peak acceleration", "m/s²"),
)


def set_beside(stage: Mapping[str, Any]) -> float | None:
    """Return the speed that side B of a stage's row is set to [m/s]; None where it is not driven or runs as side A."""
    side_b: float | None = stage["wheel_speed_b_m_s"] if stage["side_b_driven"] else None
    return None if side_b == stage["wheel_speed_m_s"] else side_b


def _speeds(number: int, stage: StageRow) -> tuple[str, ...]:
    side_b = set_beside(stage)
    spin = stage["spin_rad_s"]
    return (
        str(number),
        speed(stage["wheel_speed_m_s"]),
        MISSING if side_b is None else speed(side_b),
        f"{stage['rpm']:.0f}",
        speed(stage["wheel_speed_after_m_s"]),
        speed(stage["entry_speed_m_s"]),
        speed(stage["exit_speed_m_s"]),
        stage["grip"],
        speed(stage["slip_at_exit_m_s"]),
        MISSING if spin == 0 else digits(spin / TURN),
    )


def _energy(number: int, stage: StageRow) -> tuple[str, ...]:
    return (
        str(number),
        digits(1000 * stage["contact_time_s"]),
        digits(stage["wheel_work_J"]),
        digits(stage["slip_heat_J"]),
        digits(stage["crush_loss_J"]),
        digits(stage["peak_acceleration_m_s2"]),
    )


NO_SPIN = (
    "The spin that the goal asks for is left out here: pairs run both wheels at the same speed. Use stager plan for"
    " settings with spin."
)


def note_spin_left_out(answer: Answer, goal: Goal) -> Answer:
    """Add a note that spin is left out, where the goal asks for spin."""
    if not goal.spin:
        return answer
    return _noted(replace(answer, document={**answer.document, "left_out": ["goal.spin"]}), NO_SPIN)


def note_spin_reached(answer: Answer, goal: Goal) -> Answer:
    """Add a note on the spin of a checked throw beside the goal's, where the goal asks for spin."""
    if not goal.spin:
        return answer
    thrown = answer.document["throw"]
    reached = "It jams" if thrown["jammed"] else f"It spins at {spin_text(thrown['spin_rad_s'])}"
    return _noted(answer, f"{reached}; the goal asks for {spin_text(goal.spin)}.")


def ladder_spin_notes(plan: Plan) -> list[str]:
    """Return a sentence on the spin with which every stage count of a ladder throws."""
    if plan.best is None or not plan.best.spin:
        return []
    return [f"Every stage count throws with {spin_text(plan.best.spin)} of spin."]


def spin_notes(plan: Plan) -> list[str]:
    """Return a sentence on how the settings of a plan make its spin."""
    best = plan.best
    if best is None or not best.spin or best.count == 0:
        return []
    first = "Wheel speeds are of sides A:B, grip limits of the side that drives the spin forward"
    if best.count == 1:
        return [f"{first}."]
    apart = speed(abs(float(best.wheel_speed[-1] - best.beside[-1])))
    return [f"{first}: the first stage makes the spin, the others keep it with wheels {apart} m/s apart."]


def spin_text(spin: float) -> str:
    """Return a spin [rad/s] as text in rev/s."""
    return f"{digits(spin / TURN)} rev/s"


def _noted(answer: Answer, note: str) -> Answer:
    """Return the answer with a note put first."""
    screen = answer.screen
    return answer if screen is None else replace(answer, screen=replace(screen, notes=[note, *screen.notes]))
