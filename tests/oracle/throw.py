"""Reference solver for a throw: one launcher, integrated in time, all nips in contact together.

The state is position of the projectile's centre along the barrel, speed, spin, and for every nip that touches both
surface speeds and accumulated energies. It is integrated by LSODA from mark to mark (contact start, axis plane,
contact end, likewise of a rod) so that forces are continuous within an interval; v = 0 is a jam.

Conventions: on a rail a round projectile's rail reacts with max(0, N cos φ − F_A sin φ), a
rod's with N; only side A's normal acts along the barrel there. Pitch between axes i and i + 1 is
R_i + R_(i+1) + clearance of stage i, or stage i's own pitch. The guide acts between contacts only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from math import exp, sqrt, tanh

import numpy as np
from scipy.integrate import solve_ivp

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import RAIL
from tests.oracle.friction import Coefficient, coefficient
from tests.oracle.nips import Nip, nip
from tests.oracle.wheels import Spinner, sides

GRAVITY, AIR = 9.80665, 1.225
LONGEST = 20.0
"""A throw that takes longer than this time [s] counts as a jam."""
HEAD, ENERGIES = 3, 7
"""Entries of the state: position, speed, spin; of each nip: u_A, u_B, works, heats of A and B, crush loss."""


@dataclass
class Passage:
    """Results of one stage; fields as in `stager.physics.records.Transit`."""

    nip: Nip
    side_a: Spinner
    side_b: Spinner
    rail: bool
    books: Floats
    entry_speed: float = 0.0
    exit_speed: float = 0.0
    exit_spin: float = 0.0
    entry_time: float = 0.0
    exit_time: float = 0.0
    least_slip: float = np.inf
    slip_at_exit: float = 0.0
    peak_acceleration: float = 0.0
    top: Floats = field(default_factory=lambda: np.zeros(2))
    """Greatest speed of either wheel."""
    low: Floats = field(default_factory=lambda: np.full(2, np.inf))
    """Least speed of either wheel."""

    @property
    def contact_time(self) -> float:
        return self.exit_time - self.entry_time

    @property
    def after(self) -> tuple[float, float]:
        return float(self.books[0]), float(self.books[1])

    @property
    def wheel_work(self) -> float:
        return float(self.books[2] + self.books[3])

    @property
    def slip_heat(self) -> float:
        return float(self.books[4] + self.books[5])

    @property
    def crush_loss(self) -> float:
        return float(self.books[6])


@dataclass(frozen=True)
class Outcome:
    """Exit speed [m/s] (0 after a jam), spin [rad/s], index of the stage that jammed, and all stages."""

    exit_speed: float
    spin: float
    jammed_at: int | None
    stages: list[Passage] = field(default_factory=list)

    @property
    def jammed(self) -> bool:
        return self.jammed_at is not None


@dataclass(frozen=True)
class Forces:
    """Forces and rates of change at one nip."""

    along: float
    turning: float
    rates: tuple[float, ...]
    slip: float


class Chain:
    """Constants of one launcher at its set speeds during a throw."""

    def __init__(self, launcher: Launcher, speeds: Floats, speeds_b: Floats) -> None:
        projectile, contact = launcher.projectile, launcher.contact
        self.launcher = launcher
        self.mass, self.radius = float(projectile.mass), float(projectile.diameter) / 2
        self.rolls = projectile.shape.rolls
        self.inertia = projectile.shape.inertia_factor * self.mass * self.radius**2
        self.creep = float(contact.creep)
        self.law: Coefficient = coefficient(contact.friction)
        self.rail_law: Coefficient = coefficient(contact.rail_friction)
        self.stages: list[Passage] = []
        self.push = float(launcher.feed.push or 0.0)
        length = 0.0 if self.rolls else float(projectile.length or 0.0)
        self.push_end = length / 2 if launcher.feed.push_end is None else float(launcher.feed.push_end)
        axis = 0.0
        for k, (speed, speed_b) in enumerate(zip(speeds, speeds_b, strict=True)):
            stage = launcher.stage(k)
            if k > 0:
                axis += self._pitch(k - 1)
            side_a, side_b = sides(stage, speed, speed_b)
            books = np.zeros(ENERGIES)
            books[0], books[1] = speed, speed_b if stage.layout.side_b_driven else 0.0
            here = nip(launcher, stage, axis, speed, speed_b)
            self.stages.append(Passage(here, side_a, side_b, stage.layout is RAIL, books))

    def _pitch(self, k: int) -> float:
        one, two = self.launcher.stage(k), self.launcher.stage(k + 1)
        return float(one.wheel.radius + two.wheel.radius + one.clearance if one.pitch is None else one.pitch)

    def friction(self, slip: float, normal: float, law: Coefficient) -> float:
        return law(abs(slip)) * normal * tanh(slip / self.creep)

    def forces(self, stage: Passage, phase: int, head: Floats, u_a: float, u_b: float) -> Forces:
        """Return the forces at one nip."""
        position, speed, spin = head
        turn = self.radius * spin if self.rolls else 0.0
        press = stage.nip.press(position, phase)
        slip_a = u_a - (speed * press.cos + turn)
        force_a = self.friction(slip_a, press.normal, self.law)
        if stage.rail:
            normal_b = max(0.0, press.normal * press.cos - force_a * press.sin)
            cos_b, push, loss, law = 1.0, press.push, press.loss, self.rail_law
        else:
            normal_b, cos_b, push, loss, law = press.normal, press.cos, 2 * press.push, 2 * press.loss, self.law
        slip_b = u_b - (speed * cos_b - turn)
        force_b = self.friction(slip_b, normal_b, law)
        rates = (
            stage.side_a.change(u_a, force_a), stage.side_b.change(u_b, force_b),
            force_a * u_a, force_b * u_b, force_a * slip_a, force_b * slip_b, loss * speed,
        )  # fmt: skip
        along = force_a * press.cos + force_b * cos_b + push
        if stage is self.stages[0] and position < self.push_end:
            along += self.push
        return Forces(along, self.radius * (force_a - force_b), rates, slip_a)

    def free_flight(self, speed: float, run: float) -> float:
        """Return the speed after a free flight [m]; d(v²)/dx = −2 μ g − ρ c A v²/m."""
        guide, projectile = self.launcher.guide, self.launcher.projectile
        if guide is None:
            return speed
        slowing = 2 * guide.friction * GRAVITY
        if not guide.air_drag:
            return sqrt(max(0.0, speed**2 - slowing * run))
        area = np.pi * self.radius**2 if projectile.thickness is None else projectile.frontal_area
        drag = AIR * (0.47 if self.rolls else 1.0) * area / self.mass
        return sqrt(max(0.0, (speed**2 + slowing / drag) * exp(-drag * run) - slowing / drag))


def throw(
    launcher: Launcher, wheel_speed: list[float], wheel_speed_b: list[float] | None = None,
    *, entry_speed: float | None = None, entry_spin: float = 0.0, tolerance: float = 1e-10,
) -> Outcome:  # fmt: skip
    """Throw through one stage per set speed [m/s]."""
    chain = Chain(launcher, np.array(wheel_speed), np.array(wheel_speed_b or wheel_speed))
    marks = sorted({mark for stage in chain.stages for mark in stage.nip.marks})
    if chain.push and marks[0] < chain.push_end < marks[-1]:
        marks = sorted({*marks, chain.push_end})
    speed = float(launcher.feed.speed if entry_speed is None else entry_speed)
    head, clock = np.array([marks[0], speed, entry_spin]), 0.0
    for start, end in pairwise(marks):
        head[0] = start
        _note_entries(chain, start, head, clock)
        touching = _touching(chain, (start + end) / 2)
        if touching:
            head, clock = _integrate(chain, touching, head, clock, end, tolerance)
        else:
            head[1] = chain.free_flight(head[1], end - start)
        if head[1] <= 0:
            jam = touching[0][0] if touching else _next_stage(chain, end)
            return Outcome(0.0, head[2], jam, chain.stages)
        _note_exits(chain, end, head, clock)
    return Outcome(head[1], head[2], None, chain.stages)


def _touching(chain: Chain, centre: float) -> list[tuple[int, int]]:
    """Return the stages in contact, each with its phase."""
    found = []
    for k, stage in enumerate(chain.stages):
        marks = stage.nip.marks
        if marks[0] < centre < marks[-1]:
            found.append((k, sum(mark < centre for mark in marks) - 1))
    return found


def _next_stage(chain: Chain, end: float) -> int:
    return next(k for k, stage in enumerate(chain.stages) if stage.nip.marks[0] >= end)


def _note_entries(chain: Chain, at: float, head: Floats, clock: float) -> None:
    for stage in chain.stages:
        if stage.nip.marks[0] == at:
            stage.entry_speed, stage.entry_time = head[1], clock


def _note_exits(chain: Chain, at: float, head: Floats, clock: float) -> None:
    for stage in chain.stages:
        if stage.nip.marks[-1] == at:
            stage.exit_speed, stage.exit_spin, stage.exit_time = head[1], head[2], clock


def _integrate(
    chain: Chain, touching: list[tuple[int, int]], head: Floats, clock: float, end: float, tolerance: float
) -> tuple[Floats, float]:
    """Integrate from mark to mark; return state and time at the end or where the projectile stopped."""
    active = [(chain.stages[k], phase) for k, phase in touching]
    start = np.concatenate([head, *(stage.books for stage, _ in active)])

    def each(state: Floats) -> list[Forces]:
        at = range(HEAD, len(state), ENERGIES)
        return [
            chain.forces(stage, phase, state[:HEAD], state[i], state[i + 1])
            for (stage, phase), i in zip(active, at, strict=True)
        ]

    def change(_: float, state: Floats) -> list[float]:
        forces = each(state)
        spinning = sum(force.turning for force in forces) / chain.inertia if chain.rolls else 0.0
        rates = [state[1], sum(force.along for force in forces) / chain.mass, spinning]
        for force in forces:
            rates.extend(force.rates)
        return rates

    def arrived(_: float, state: Floats) -> float:
        return float(state[0] - end)

    def stopped(_: float, state: Floats) -> float:
        return float(state[1])

    arrived.terminal = stopped.terminal = True  # type: ignore[attr-defined]
    scale = np.concatenate([[end - head[0], 1.0, 1.0 / chain.radius], np.ones(ENERGIES * len(active))])
    for i in range(HEAD, len(start), ENERGIES):
        scale[i + 2 : i + ENERGIES] = chain.mass
    passing = (end - head[0]) / head[1]
    # Limit the step: an arrival and return within one step would not be detected.
    solved = solve_ivp(
        change, (0.0, LONGEST), start, method="LSODA", rtol=tolerance, atol=tolerance * scale,
        events=(arrived, stopped), first_step=passing * 1e-4, max_step=passing / 8,
    )  # fmt: skip
    last = solved.y[:, -1].copy()
    if not len(solved.t_events[0]):
        last[1] = 0.0
    for column in (*solved.y.T, last):
        _update_extremes(chain, active, each(column))
    for (stage, _), i in zip(active, range(HEAD, len(last), ENERGIES), strict=True):
        stage.books = last[i : i + ENERGIES]
        stage.top = np.maximum(stage.top, solved.y[i : i + 2].max(axis=1))
        stage.low = np.minimum(stage.low, solved.y[i : i + 2].min(axis=1))
    return last[:HEAD], clock + float(solved.t[-1])


def _update_extremes(chain: Chain, active: list[tuple[Passage, int]], forces: list[Forces]) -> None:
    """Update the extreme values of each stage."""
    acceleration = abs(sum(force.along for force in forces)) / chain.mass
    for (stage, _), force in zip(active, forces, strict=True):
        stage.least_slip = min(stage.least_slip, abs(force.slip))
        stage.slip_at_exit = force.slip
        stage.peak_acceleration = max(stage.peak_acceleration, acceleration)
