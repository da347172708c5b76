"""Which bound serves which stage."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stager.bounds.integrate import march
from stager.bounds.normal_force import Press, press_between
from stager.bounds.records import BAND, ENTRY, WHEEL, Ceiling, Cells, Enclose, Enclosed, Meter
from stager.bounds.single_driven import Form, LedRun, rail_form, rod_form
from stager.bounds.speed_limits import Motor, motor_of, reach_of
from stager.bounds.symmetric_pair import EvenRun
from stager.bounds.traction import Traction
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import Stage


def spins(launcher: Launcher, stage: Stage) -> bool:
    """Return whether what leaves `stage` may spin."""
    return launcher.projectile.shape.rolls and not stage.layout.side_b_driven


def enclosure(launcher: Launcher, stage: Stage, *, spins: bool, meter: Meter | None = None) -> Enclose | str:
    """Return where cells leave `stage`, or what there is no theorem of; entries may spin or not, meter counts steps."""
    meter = Meter() if meter is None else meter
    contact, layout = launcher.contact, stage.layout
    creep = float(contact.creep)
    wheel, rail = (Traction(law, creep) for law in (contact.friction, contact.rail_friction))
    if layout.side_b_driven:
        return "pairs behind what lets the projectile spin" if spins else even_pair(launcher, stage, wheel, meter)
    if not layout.side_b_turns:
        return led(launcher, stage, wheel, rail, meter)
    if launcher.projectile.shape.rolls:
        return "idlers that a round projectile turns"
    return led(launcher, stage, wheel, wheel, meter)


def even_pair(launcher: Launcher, stage: Stage, traction: Traction, meter: Meter) -> Enclose:
    """Return a pair of equal wheels; the projectile does not spin."""

    def enclose(cells: Cells, steps: int) -> Enclosed:
        return _even(launcher, stage, traction, cells, steps, meter, heated=False)[0]

    return enclose


def heated_pair(launcher: Launcher, stage: Stage) -> Callable[[Cells, int], tuple[Enclosed, Floats]]:
    """Return the same, and the least slip heat of each cell [J], both sides."""
    traction, meter = Traction(launcher.contact.friction, float(launcher.contact.creep)), Meter()

    def enclose(cells: Cells, steps: int) -> tuple[Enclosed, Floats]:
        return _even(launcher, stage, traction, cells, steps, meter, heated=True)

    return enclose


def _even(
    launcher: Launcher, stage: Stage, traction: Traction, cells: Cells, steps: int, meter: Meter, *, heated: bool
) -> tuple[Enclosed, Floats]:
    motor, entry, wheel = motor_of(stage), cells.high[ENTRY], (cells.low[WHEEL], cells.high[WHEEL])
    unseen, press = np.full(entry.shape, -np.inf), press_between(launcher, stage, *wheel)
    run = EvenRun(
        float(launcher.projectile.mass), traction, motor, press, np.stack([wheel[1], wheel[0]]),
        motor.holding(np.stack(wheel)), press.stored, heated,
        entry.copy(), np.zeros_like(entry), *_unmarked(entry.size), unseen, unseen.copy(),
    )  # fmt: skip
    ends = np.stack([entry, cells.low[ENTRY]])
    start = [ends**2, run.ratio * ends]
    state = march(run, np.concatenate([*start, np.zeros((1, entry.size))] if heated else start), steps, meter)
    high = np.minimum(np.sqrt(state[0]), _ceiling(launcher, motor, press, cells))
    high = np.where(run.jams, 0.0, high)
    # What gets through where some stop is above the lower bound all the same.
    slowest = np.minimum(np.sqrt(state[1]), high)
    low = np.where(run.stalls, 0.0, slowest)
    return Enclosed(low, high, slowest, high, low, high, run.strain), state[-1]


def even_ceiling(launcher: Launcher, stage: Stage) -> Ceiling:
    """Return what no throw through a pair exceeds, by energy alone."""
    return lambda cells: _ceiling(
        launcher, motor_of(stage), press_between(launcher, stage, cells.low[WHEEL], cells.high[WHEEL]), cells
    )


def _ceiling(launcher: Launcher, motor: Motor, press: Press, cells: Cells) -> Floats:
    """Friction speeds the projectile up only while v cos φ < u, and a wheel turns no faster than it is set or than the
    projectile was before. Past the greater of entry and set speed v then grows by a change of cos φ, and by what the
    crush gives back, Δv² ≤ 4 S/m with S the crush energy of a side. Both are taken twice.

    Without a motor there is no more energy than E = M U² + m v²/2 as it comes in. When friction drives last,
    v cos φ ≤ u, so with Q ≤ 2 S in the crush (M cos² φ + m/2) v² + Q ≤ E; what comes after gives Q at most.
    """
    mass, entry, wheel = float(launcher.projectile.mass), cells.high[ENTRY], cells.high[WHEEL]
    tilted = press.most_tilted
    speed = np.maximum(entry, wheel)
    most = np.asarray((speed**2 + 8.0 * press.stored / mass) / tilted**4)
    if motor.coasts:
        energy = motor.wheel_mass * wheel**2 + mass * entry**2 / 2
        crush = np.minimum(2.0 * press.stored, energy)
        driven = (energy - crush) / (motor.wheel_mass * tilted**2 + mass / 2) + 2.0 * crush / mass
        most = np.minimum(most, np.maximum(entry**2, driven))
    return np.asarray(np.sqrt(most))


def led(launcher: Launcher, stage: Stage, traction: Traction, other: Traction, meter: Meter) -> Enclose:
    """One driven wheel against a rail, or a rod's against an idler."""
    motor, form = motor_of(stage), led_form(launcher, stage)

    def enclose(cells: Cells, steps: int) -> Enclosed:
        wheel = cells.low[WHEEL], cells.high[WHEEL]
        lead = np.stack([cells.high[ENTRY], cells.low[ENTRY]])
        band = np.stack([cells.high[BAND], cells.low[BAND]])
        press = press_between(launcher, stage, *wheel)
        entry = np.maximum(form.speed(lead, band), 0.0)
        run = LedRun(
            form, float(launcher.projectile.mass), traction, other, motor, press, *wheel,
            motor.holding(np.stack(wheel)), reach_of(launcher, stage, press, lead, band, wheel[1]),
            entry[0].copy(), np.zeros_like(lead[0]), *_unmarked(lead[0].size), np.full(lead[0].shape, -np.inf),
        )  # fmt: skip
        state = march(run, np.concatenate([lead**2, band, form.ratio * lead, entry[:1] ** 2]), steps, meter)
        roots = np.sqrt(state[:2])
        ends = np.maximum(form.speed(roots, state[2:4]), 0.0)
        ends[0] = np.sqrt(state[6])
        high = np.where(run.jams, 0.0, ends[0])
        low = np.where(run.stalls, 0.0, np.minimum(ends[1], high))
        if not form.rolls:
            return Enclosed(low, high, low, high, low, high, run.strain)
        lead, band = (np.where(run.jams, 0.0, rows) for rows in (roots, state[2:4]))
        return Enclosed(low, high, lead[1], lead[0], band[1], band[0], run.strain)

    return enclose


def _unmarked(lanes: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    return np.zeros(lanes, bool), np.zeros(lanes, bool)


def led_form(launcher: Launcher, stage: Stage) -> Form:
    """Return the equations of `stage`; see `single_driven.Form`."""
    projectile, wheel_mass = launcher.projectile, motor_of(stage).wheel_mass
    mass = float(projectile.mass)
    if projectile.shape.rolls:
        return rail_form(projectile.shape.inertia_factor, mass, wheel_mass)
    if not stage.layout.side_b_turns:
        return rod_form(mass, wheel_mass, None)
    if stage.idler_inertia is None:
        raise ValueError("an idler needs its inertia")
    return rod_form(mass, wheel_mass, float(stage.idler_inertia) / float(stage.wheel.radius) ** 2)
