"""A throw as screen and document, and its spin beside the one that the goal asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from stager.model.launcher import Launcher
from stager.model.projectile import Projectile
from stager.model.requirements import Goal
from stager.optimise.flown import Flown
from stager.physics.flight import SPHERES, spin_parameter, wobble_rate
from stager.physics.mechanics import spin_acceleration, spin_energy, squeeze, translation_energy, turns_per_minute
from stager.physics.muzzle import indicated_wheel_speed, outlet_speed
from stager.physics.records import Grip, Throw
from stager.report import flight, safety
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import MISSING, digits, listing, plural, speed

if TYPE_CHECKING:
    from stager.optimise.records import Plan

WORDS = {Grip.SYNC: "sync", Grip.SLIP: "slip", Grip.JAM: "jam"}
TURN = 2 * np.pi


def answer(launcher: Launcher, throw: Throw, source: Provenance, flown: Flown | None = None) -> Answer:
    """Screen and document of one throw (no batch axes); a jam is a "no"."""
    content = summary(launcher, throw)
    return Answer(
        Screen(
            headline(launcher, content),
            (speeds(content["stages"]), energies(content["stages"])),
            [
                *_notes(content, launcher), *instruments(launcher, content["stages"]),
                *flight.notes(launcher, flown), *safety.notes(launcher, throw),
            ],
            more_tables=flight.tables(flown),
            more_notes=[*entering(launcher), *strain(content["stages"])],
        ),
        document(
            {**content, "safety": safety.rows(launcher, throw), **flight.summary(launcher, flown)}, source
        ),
        yes=not content["jammed"] and not content["stays_in_outlet"],
    )


def summary(launcher: Launcher, throw: Throw) -> dict[str, Any]:
    """A throw as the document has it, without provenance."""
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


def stages(launcher: Launcher, throw: Throw) -> list[dict[str, Any]]:
    """One dictionary a stage; after a jam the jammed stage is the last one."""
    reached = [k for k, grip in enumerate(throw.stages.grip) if grip != Grip.NOT_REACHED]
    return [_stage(launcher, throw, k) for k in reached]


def _stage(launcher: Launcher, throw: Throw, k: int) -> dict[str, Any]:
    part, stage = throw.stages, launcher.stage(k)
    turns = stage.layout.side_b_turns
    return {
        "wheel_speed_m_s": float(part.wheel_speed_a[k]),
        "wheel_speed_b_m_s": float(part.wheel_speed_b[k]) if turns else None,
        "rpm": float(turns_per_minute(part.wheel_speed_a[k], stage.wheel)),
        "indicated_rpm": float(indicated_wheel_speed(launcher, turns_per_minute(part.wheel_speed_a[k], stage.wheel))),
        "entry_speed_m_s": float(part.entry_speed[k]),
        "exit_speed_m_s": float(part.exit_speed[k]),
        "wheel_speed_after_m_s": float(part.wheel_speed_after_a[k]),
        "wheel_speed_b_after_m_s": float(part.wheel_speed_after_b[k]) if turns else None,
        "spin_rad_s": float(part.exit_spin[k]),
        "slip_at_exit_m_s": float(part.slip_at_exit[k]),
        "grip": WORDS[Grip(part.grip[k])],
        "contact_time_s": float(part.contact_time[k]),
        "wheel_work_J": float(part.wheel_work[k]),
        "slip_heat_J": float(part.slip_heat[k]),
        "crush_loss_J": float(part.crush_loss[k]),
        "peak_acceleration_m_s2": float(part.peak_acceleration[k]),
        "squeeze_m_s2": float(squeeze(launcher, k, part.wheel_speed_a[k], part.wheel_speed_b[k])),
        "spin_acceleration_m_s2": float(spin_acceleration(part.exit_spin[k], launcher.projectile)),
    }


def headline(launcher: Launcher, content: Mapping[str, Any]) -> str:
    """The answer in a sentence."""
    name, count = launcher.projectile.shape.name, len(content["stages"])
    if content["jammed"]:
        return f"The {name} jams in stage {count}: its wheel pushes back harder than friction pulls in."
    if content["stays_in_outlet"]:
        return f"The {name} stays in the outlet, which takes all of its energy."
    behind = "" if content["outlet_speed_m_s"] == content["exit_speed_m_s"] else " and the outlet"
    return (
        f"The {name} leaves at {speed(content['outlet_speed_m_s'])} m/s with {digits(content['exit_energy_J'])} J"
        f" after {plural(count, 'stage')}{behind}."
    )


def instruments(launcher: Launcher, stages: Sequence[Mapping[str, Any]]) -> list[str]:
    """What the tachometer shows at the wheel speeds of `stages`, where that is not how fast they turn."""
    if all(stage["indicated_rpm"] == stage["rpm"] for stage in stages):
        return []
    shown = listing([f"{stage['indicated_rpm']:.0f}" for stage in stages])
    return [f"Speeds are true ones. Set the wheels until the tachometer shows {shown} rpm (measuring.wheel_speed)."]


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
        _spun(content["spin_rad_s"], content["outlet_speed_m_s"], launcher.projectile),
    ]


def _outlet(content: Mapping[str, Any], launcher: Launcher) -> list[str]:
    """What the outlet takes."""
    if content["outlet_speed_m_s"] == content["exit_speed_m_s"]:
        return []
    had = float(translation_energy(content["exit_speed_m_s"], launcher.projectile))
    return [
        f"It leaves the last wheel at {speed(content['exit_speed_m_s'])} m/s with {digits(had)} J;"
        f" the outlet takes {digits(had - content['exit_energy_J'])} J."
    ]


def _spun(spin: float, exit_speed: float, projectile: Projectile) -> str:
    """Spin parameter, and, of what has an axis of its own, how fast it wobbles."""
    said = f"Spin parameter {digits(float(spin_parameter(spin, exit_speed, projectile)))}"
    if projectile.shape in SPHERES:
        return f"{said}."
    return f"{said}; let go askew it wobbles {digits(abs(float(wobble_rate(spin, projectile))) / TURN)} times a second."


def entering(launcher: Launcher) -> list[str]:
    """How what can roll enters the first nip."""
    if not launcher.projectile.shape.rolls:
        return []
    spin = float(launcher.feed.spin)
    return [f"It enters with {digits(spin / TURN)} rev/s of spin." if spin else "It enters without spin (feed.spin)."]


def strain(stages: Sequence[Mapping[str, Any]]) -> list[str]:
    """What the projectile feels, and which of it counts as acceleration."""
    if not stages:
        return []
    most = {name: max(stage[f"{name}_m_s2"] for stage in stages) for name in ("squeeze", "spin_acceleration")}
    along = max(stage["peak_acceleration_m_s2"] for stage in stages)
    spun = f"; spin pulls at its rim with {digits(most['spin_acceleration'])} m/s²" if most["spin_acceleration"] else ""
    return [
        f"Acceleration counts along the barrel, up to {digits(along)} m/s². Not counted: wheels squeeze it across with"
        f" {digits(most['squeeze'])} m/s² (force by mass){spun}."
    ]


def speeds(stages: list[dict[str, Any]]) -> Table:
    """Speeds, a row each stage."""
    rows = tuple(_speeds(k, stage) for k, stage in enumerate(stages, 1))
    return Table("Speeds", _SPEEDS, rows).without_empty(MISSING)


def energies(stages: list[dict[str, Any]]) -> Table:
    """Where the energy went, a row each stage."""
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


def _speeds(number: int, stage: Mapping[str, Any]) -> tuple[str, ...]:
    side_b = stage["wheel_speed_b_m_s"]
    spin = stage["spin_rad_s"]
    return (
        str(number),
        speed(stage["wheel_speed_m_s"]),
        MISSING if side_b is None or side_b == stage["wheel_speed_m_s"] else speed(side_b),
        f"{stage['rpm']:.0f}",
        speed(stage["wheel_speed_after_m_s"]),
        speed(stage["entry_speed_m_s"]),
        speed(stage["exit_speed_m_s"]),
        stage["grip"],
        speed(stage["slip_at_exit_m_s"]),
        MISSING if spin == 0 else digits(spin / TURN),
    )


def _energy(number: int, stage: Mapping[str, Any]) -> tuple[str, ...]:
    return (
        str(number),
        digits(1000 * stage["contact_time_s"]),
        digits(stage["wheel_work_J"]),
        digits(stage["slip_heat_J"]),
        digits(stage["crush_loss_J"]),
        digits(stage["peak_acceleration_m_s2"]),
    )


ALIKE = (
    "Grip limits, settings and further stages are those of pairs whose wheels run alike: the spin that the goal asks "
    "for is left out here, plan sets it."
)


def left_out(answer: Answer, goal: Goal) -> Answer:
    """With a word that the spin is left out, where one is asked for."""
    if not goal.spin:
        return answer
    return _noted(replace(answer, document={**answer.document, "left_out": ["goal.spin"]}), ALIKE)


def compared(answer: Answer, goal: Goal) -> Answer:
    """A check with the spin that is reached beside the one asked for."""
    if not goal.spin:
        return answer
    thrown = answer.document["throw"]
    reached = "It jams" if thrown["jammed"] else f"It spins {said(thrown['spin_rad_s'])}"
    return _noted(answer, f"{reached}; the goal asks for {said(goal.spin)}.")


def at_spin(plan: Plan) -> list[str]:
    """What a ladder holds of."""
    return [] if plan.best is None or not plan.best.spin else [f"Every stage count leaves with {said(plan.best.spin)}."]


def planned(plan: Plan) -> list[str]:
    """How a plan makes its spin."""
    best = plan.best
    if best is None or not best.spin or best.count == 0:
        return []
    first = "Wheels as A:B, grip limits of the side that drives the spin forward"
    if best.count == 1:
        return [f"{first}."]
    apart = speed(abs(float(best.wheel_speed[-1] - best.beside[-1])))
    return [f"{first}: the first stage makes the spin, the others keep it with wheels {apart} m/s apart."]


def said(spin: float) -> str:
    """A spin [rad/s] in words."""
    return f"{digits(spin / TURN)} rev/s"


def _noted(answer: Answer, note: str) -> Answer:
    screen = answer.screen
    return answer if screen is None else replace(answer, screen=replace(screen, notes=[note, *screen.notes]))
