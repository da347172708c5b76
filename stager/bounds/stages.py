"""Choose the theorem for a stage, and integrate cells with it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stager.bounds import normal_force
from stager.bounds.entry_sets import BAND, ENTRY, WHEEL, Ceiling, Cells, Enclose, Enclosed, Meter
from stager.bounds.integrate import WORKSPACE
from stager.bounds.normal_force import Press, press_between
from stager.bounds.single_driven import Coefficients, driven_cells, rail_coefficients, rod_coefficients
from stager.bounds.symmetric_pair import pair_cells
from stager.bounds.traction import Motor, Traction, motor_of, traction_of
from stager.errors import NotComputable
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import IDLER, PAIR, RAIL, Stage
from stager.physics.compiled import Entry
from stager.physics.contact.run import share


def spins(launcher: Launcher, stage: Stage) -> bool:
    """Return whether the projectile may leave `stage` with spin."""
    return launcher.projectile.shape.rolls and not stage.layout.side_b_driven


def enclosure(launcher: Launcher, stage: Stage, *, spins: bool, meter: Meter | None = None) -> Enclose | str:
    """Return the enclosure of `stage`, or the kind of stage that has no theorem.

    spins: the projectile may enter with spin; meter: counts steps.
    """
    meter = Meter() if meter is None else meter
    contact, layout = launcher.contact, stage.layout
    creep = float(contact.creep)
    wheel = traction_of(contact.friction, creep)
    if layout == PAIR:
        return "pairs behind what lets the projectile spin" if spins else symmetric_pair(launcher, stage, wheel, meter)
    if layout == RAIL:
        return single_driven(launcher, stage, wheel, traction_of(contact.rail_friction, creep), meter)
    if layout != IDLER:
        return f'stages of layout "{layout.name}"'
    if launcher.projectile.shape.rolls:
        return "idlers that a round projectile turns"
    return single_driven(launcher, stage, wheel, wheel, meter)


def symmetric_pair(launcher: Launcher, stage: Stage, traction: Traction, meter: Meter) -> Enclose:
    """Return the enclosure of a pair with both wheels at one speed, without spin."""

    def enclose(cells: Cells, steps: int) -> Enclosed:
        return _integrate_pair(launcher, stage, traction, cells, steps, meter, heated=False)[0]

    return enclose


def heated_pair(launcher: Launcher, stage: Stage) -> Callable[[Cells, int], tuple[Enclosed, Floats]]:
    """Return the enclosure of such a pair that also gives the least slip heat of each cell [J], both sides."""
    traction, meter = traction_of(launcher.contact.friction, float(launcher.contact.creep)), Meter()

    def enclose(cells: Cells, steps: int) -> tuple[Enclosed, Floats]:
        return _integrate_pair(launcher, stage, traction, cells, steps, meter, heated=True)

    return enclose


def _integrate_pair(
    launcher: Launcher, stage: Stage, traction: Traction, cells: Cells, steps: int, meter: Meter, *, heated: bool
) -> tuple[Enclosed, Floats]:
    motor, entry = motor_of(stage), cells.high[ENTRY]
    press = press_between(launcher, stage, cells.low[WHEEL], cells.high[WHEEL])
    lanes, body = _lanes(motor, press, cells, entry), _body(launcher, motor)
    ends = np.stack([entry, cells.low[ENTRY]])
    states = np.concatenate([ends**2, body[normal_force.RATIO] * ends, np.zeros((int(heated), entry.size))])
    state = _integrate(pair_cells, (traction,), body, press, lanes, states, steps, meter)
    jams, stalls = lanes[:, normal_force.JAMS] > 0, lanes[:, normal_force.STALLS] > 0
    high = np.minimum(np.sqrt(state[0]), _ceiling(launcher, motor, press, cells))
    high = np.where(jams, 0.0, high)
    # Throws that pass are above the lower bound even where others stop.
    slowest = np.minimum(np.sqrt(state[1]), high)
    low = np.where(stalls, 0.0, slowest)
    return Enclosed(low, high, slowest, high, low, high, lanes[:, normal_force.STRAIN]), state[-1]


def _body(launcher: Launcher, motor: Motor) -> Floats:
    """Return the values that all cells of a stage share; see `columns.BODY`."""
    projectile, contact, body = launcher.projectile, launcher.contact, np.zeros(normal_force.BODY)
    mass = float(projectile.mass)
    body[normal_force.MASS], body[normal_force.WHEEL_MASS] = mass, motor.wheel_mass
    body[normal_force.RATIO] = mass / (2.0 * motor.wheel_mass)
    body[normal_force.MOTOR_SLOPE], body[normal_force.STALL] = motor.slope, motor.stall
    body[normal_force.EXPONENT], body[normal_force.REBOUND] = float(contact.exponent), float(contact.rebound)
    body[normal_force.ROD_LENGTH] = -1.0
    if not projectile.shape.rolls:
        if projectile.length is None:
            raise ValueError("a rod needs a length")
        body[normal_force.ROD_LENGTH] = float(projectile.length)
    return body


def _lanes(motor: Motor, press: Press, cells: Cells, fastest: Floats) -> Floats:
    """Return the state of cells at their entry, see `columns.LANE`; fastest: greatest entry speed [m/s]."""
    lanes, wheel = np.zeros((len(cells), normal_force.LANE)), (cells.low[WHEEL], cells.high[WHEEL])
    lanes[:, normal_force.SET_LOW], lanes[:, normal_force.SET_HIGH] = wheel
    lanes[:, normal_force.HOLD_LOW], lanes[:, normal_force.HOLD_HIGH] = (motor.holding(speed) for speed in wheel)
    lanes[:, normal_force.STORED], lanes[:, normal_force.FASTEST] = press.stored, fastest
    lanes[:, normal_force.STRAIN] = lanes[:, normal_force.CROSSING] = lanes[:, normal_force.BARRIER_LOW] = -np.inf
    lanes[:, normal_force.BARRIER_HIGH] = np.inf
    return lanes


def _integrate(
    take: Entry, tractions: tuple[Traction, ...], body: Floats, press: Press, lanes: Floats, states: Floats, steps: int,
    meter: Meter,
) -> Floats:  # fmt: skip
    """Return the states behind a contact, (rows, cells); results are also written to the lanes and the meter."""
    state = np.ascontiguousarray(states.T)

    def work(low: int, high: int) -> None:
        take(low, high, *tractions, body, press.columns, lanes, state, steps, np.zeros(WORKSPACE))

    share(work, len(lanes), CONTACTS)
    if (lanes[:, normal_force.SPENT] < 0).any():
        raise NotComputable("a bound did not come to the end of its contact within the allowed number of steps")
    meter.spent += int(lanes[:, normal_force.SPENT].sum())
    return state.T


CONTACTS = 2
"""Contacts of a throw that take as long as one cell."""


def pair_ceiling(launcher: Launcher, stage: Stage) -> Ceiling:
    """Return the bound of a pair by energy alone."""
    return lambda cells: _ceiling(
        launcher, motor_of(stage), press_between(launcher, stage, cells.low[WHEEL], cells.high[WHEEL]), cells
    )


def _ceiling(launcher: Launcher, motor: Motor, press: Press, cells: Cells) -> Floats:
    """Return the greatest exit speed of cells by energy alone [m/s].

    Friction speeds the projectile up only while v cos φ < u, and a wheel turns no faster than it is set or than the
    projectile was before. Past the greater of entry and set speed, v grows only by a change of cos φ and by rebound of
    the crush, Δv² ≤ 4 S/m with S the crush energy of a side. Both are counted twice.

    Without a motor the energy is at most E = M U² + m v²/2 at the entry. When friction drives last, v cos φ ≤ u, so
    with Q ≤ 2 S in the crush (M cos² φ + m/2) v² + Q ≤ E; afterwards at most Q is added.
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


def single_driven(launcher: Launcher, stage: Stage, traction: Traction, other: Traction, meter: Meter) -> Enclose:
    """Return the enclosure of one driven wheel against a rail, or of a rod against an idler."""
    motor, coefficients = motor_of(stage), coefficients_of(launcher, stage)
    body = _body(launcher, motor)
    mass, rolls = body[normal_force.MASS], launcher.projectile.shape.rolls
    body[normal_force.RATIO], body[normal_force.INERTIA] = coefficients.ratio, coefficients.inertia
    body[normal_force.ROLLS] = float(coefficients.rolls)
    body[normal_force.NORMALS], body[normal_force.HELD_NORMALS] = coefficients.normals, coefficients.held_normals
    body[normal_force.OF_LEAD], body[normal_force.OF_BAND] = coefficients.mix
    body[normal_force.TURNING] = launcher.projectile.shape.inertia_factor if rolls else 0.0
    body[normal_force.LIGHT] = mass / motor.wheel_mass

    def enclose(cells: Cells, steps: int) -> Enclosed:
        lead = np.stack([cells.high[ENTRY], cells.low[ENTRY]])
        band = np.stack([cells.high[BAND], cells.low[BAND]])
        press = press_between(launcher, stage, cells.low[WHEEL], cells.high[WHEEL])
        entry = np.maximum(coefficients.speed(lead, band), 0.0)
        lanes, turned = _lanes(motor, press, cells, entry[0]), 1.0 / (1.0 + body[normal_force.TURNING])
        lanes[:, normal_force.SPIN_LOW] = turned * (lead[1] - band[0])
        lanes[:, normal_force.SPIN_HIGH] = turned * (lead[0] - band[1])
        lanes[:, normal_force.CRUSH] = 2.0 * press.stored / mass
        states = np.concatenate([lead**2, band, coefficients.ratio * lead, entry[:1] ** 2])
        state = _integrate(driven_cells, (traction, other), body, press, lanes, states, steps, meter)
        jams, stalls = lanes[:, normal_force.JAMS] > 0, lanes[:, normal_force.STALLS] > 0
        roots = np.sqrt(state[:2])
        ends = np.maximum(coefficients.speed(roots, state[2:4]), 0.0)
        ends[0] = np.sqrt(state[6])
        high = np.where(jams, 0.0, ends[0])
        low = np.where(stalls, 0.0, np.minimum(ends[1], high))
        strain = lanes[:, normal_force.STRAIN]
        if not coefficients.rolls:
            return Enclosed(low, high, low, high, low, high, strain)
        lead, band = (np.where(jams, 0.0, rows) for rows in (roots, state[2:4]))
        return Enclosed(low, high, lead[1], lead[0], band[1], band[0], strain)

    return enclose


def coefficients_of(launcher: Launcher, stage: Stage) -> Coefficients:
    """Return the coefficients of the equations of `stage`."""
    projectile, wheel_mass = launcher.projectile, motor_of(stage).wheel_mass
    mass = float(projectile.mass)
    if projectile.shape.rolls:
        return rail_coefficients(projectile.shape.inertia_factor, mass, wheel_mass)
    if not stage.layout.side_b_turns:
        return rod_coefficients(mass, wheel_mass, None)
    if stage.idler_inertia is None:
        raise ValueError("an idler needs its inertia")
    return rod_coefficients(mass, wheel_mass, float(stage.idler_inertia) / float(stage.wheel.radius) ** 2)
