"""Bounds for stages with one driven wheel: rails, and rods against a rail or an idler.

Müller's theorem as in `symmetric_pair`. Coordinates, per unit time, M = J/R² of the driven wheel, t and l as there:

round shape on a rail, q = rΩ, β of its spin inertia; Y = v + β q, z = v − q, κ = m/(2M), H = u − U + κ Y:
    m Y' = F_A (1 + cos φ) + N t
    m z' = F_A (cos φ − 1/β) + F_B (1 + 1/β) + N t
    M H' = τ/R − F_A (1 − cos φ)/2 + N t/2
    s_A  = U + H − [κ + (1 + cos φ)/(1 + β)] Y + z (1 − β cos φ)/(1 + β),   s_B = −z,   N_B = max(0, N cos φ − F_A t)
rod against an idler of mass b m = J_B/R², u_B its speed; Y = v + b u_B, z = v − u_B, κ = m/M, H = u − U + κ Y:
    m Y' = F_A + 2 (N t + l),   m z' = F_A + F_B (1 + 1/b) + 2 (N t + l),   M H' = τ/R + 2 (N t + l)
    s_A  = U + H − (κ + 1/(1 + b)) Y − z b/(1 + b),   s_B = −z
rod against a rail: the same with b = ∞ (v = z), and one normal along the barrel instead of two.

F_A drives Y, the other side holds z near 0, H is nearly conserved: only Y grows. Rolling is not assumed. Along the
barrel all are divided by v = (Y + β z)/(1 + β), and Y² stands for Y. Where v nears 0 that says little, so v² has an
upper bound of its own: m (v²)' = 2 (F_A cos φ + F_B + N t) with each force at its greatest.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stager.bounds.normal_force import Press, Pressed
from stager.bounds.speed_limits import Motor, Reach
from stager.bounds.traction import SLOW, SLOWEST, STOPPED, Traction, grip_extreme, normals, per_speed, product
from stager.model.arrays import Floats


@dataclass(frozen=True, slots=True)
class Shares:
    """Coefficients at one cos φ, arrays (lanes,).

    lead_a: F_A in m Y'; band_a, band_b: F_A, F_B in m z'; held_a: −F_A in M H'; slip_lead: −Y in s_A; slip_band: z.
    """

    lead_a: Floats
    band_a: Floats
    band_b: float
    held_a: Floats
    slip_lead: Floats
    slip_band: Floats


@dataclass(frozen=True, slots=True)
class Form:
    """What tells the kinds apart.

    inertia: β of a round shape, b of a rod (infinite against a rail); rolls; normals: how many act along the barrel;
    held_normals: how many of them act on M H'; ratio: κ.
    """

    inertia: float
    rolls: bool
    normals: float
    held_normals: float
    ratio: float

    @property
    def mix(self) -> tuple[float, float]:
        """Shares of Y and z in v."""
        if np.isinf(self.inertia):
            return 0.0, 1.0
        return 1.0 / (1.0 + self.inertia), self.inertia / (1.0 + self.inertia)

    def shares(self, cosine: Floats) -> Shares:
        """See Shares."""
        lead, band = self.mix
        if self.rolls:
            inverse = 1.0 / self.inertia
            return Shares(
                1.0 + cosine, cosine - inverse, 1.0 + inverse, 0.5 * (1.0 - cosine),
                self.ratio + (1.0 + cosine) * lead, (1.0 - self.inertia * cosine) * lead,
            )  # fmt: skip
        one = np.ones_like(cosine)
        return Shares(one, one, 1.0 + 1.0 / self.inertia, 0.0 * one, (self.ratio + lead) * one, -band * one)

    def speed(self, lead: Floats, band: Floats) -> Floats:
        """v [m/s] by Y and z [m/s]."""
        of_lead, of_band = self.mix
        return of_lead * lead + of_band * band


def rail_form(inertia_factor: float, mass: float, wheel_mass: float) -> Form:
    """Return a round shape of `mass` [kg] on a rail; wheel_mass J/R² [kg]."""
    return Form(inertia_factor, True, 1.0, 0.5, mass / (2.0 * wheel_mass))


def rod_form(mass: float, wheel_mass: float, idler_mass: float | None) -> Form:
    """Return a rod of `mass` [kg] against an idler of J_B/R² = idler_mass [kg], or a rail (None)."""
    if idler_mass is None:
        return Form(np.inf, False, 1.0, 1.0, mass / wheel_mass)
    return Form(idler_mass / mass, False, 2.0, 2.0, mass / wheel_mass)


UPPER, LOWER = 0, 1
SIGNS = 1.0, -1.0
WIDE = 0.05


@dataclass
class LedRun:
    """One batch of cells on its way; state rows: Y⁺², Y⁻², z⁺, z⁻, H⁺, H⁻, (v²)⁺.

    holding: see Motor, at the least and the greatest U, (2, lanes) [N]; reach: what cannot be exceeded;
    fastest: greatest v so far [m/s]."""

    form: Form
    mass: float
    traction: Traction
    other: Traction
    motor: Motor
    press: Press
    low: Floats
    high: Floats
    holding: Floats
    reach: Reach
    fastest: Floats
    dip: Floats
    jams: NDArray[np.bool_]
    stalls: NDArray[np.bool_]
    strain: Floats
    barrier: Floats = field(init=False)

    def __post_init__(self) -> None:
        lanes = self.low.size
        self.barrier = np.stack([np.full(lanes, np.inf), np.full(lanes, -np.inf)])

    def brace(self, number: int, place: Floats, ahead: Floats, state: Floats) -> None:
        """z cannot cross what the rail holds against any grip of the wheel: no stiffness carries a bound beyond."""
        if self.form.rolls:
            held = [self._holds(number, at) for at in (place, ahead)]
            above = np.maximum(state[2], np.maximum(held[0][0], held[1][0]))
            self.barrier = np.stack([above, np.minimum(state[3], np.minimum(held[0][1], held[1][1]))])

    def _holds(self, number: int, place: Floats) -> tuple[Floats, Floats]:
        """z [m/s] above which its rate is negative, below which it is positive, whatever the wheel does."""
        pressed = self.press.at(number, place)
        shares = self.form.shares(pressed.cosine)
        most, least = np.full(place.shape, -np.inf), np.full(place.shape, np.inf)
        for grip in (-self.traction.peak, self.traction.peak):
            pressing = pressed.cosine - grip * pressed.tilt_high
            pull = grip * shares.band_a + pressed.tilt_high
            needed = np.where(pressing > 0.0, pull / (np.maximum(pressing, 1e-9) * shares.band_b), np.inf)
            most, least = np.maximum(most, needed), np.minimum(least, np.where(pressing > 0.0, needed, -np.inf))
        return self.other.slip_of(most), self.other.slip_of(least)

    def rate(
        self, number: int, place: Floats, state: Floats, *, seeing: bool = True
    ) -> tuple[Floats, Floats, Floats | None]:
        """See march.Run."""
        pressed = self.press.at(number, place)
        shares = self.form.shares(pressed.cosine)
        roots = np.sqrt(np.maximum(state[:2], 0.0))
        box = _Box(roots, state[2:4], state[4:6])
        weakest, strongest = self._grips(shares, box)
        out, own = np.empty_like(state), np.zeros_like(state)
        for end in (UPPER, LOWER):
            out[end], own[end] = self._lead(pressed, shares, box, end)
            out[2 + end], own[2 + end] = self._band(pressed, shares, box, end)
            out[4 + end] = self._held(pressed, shares, box, end, (weakest, strongest)[end])
        hold, _ = self.other.greatest(-box.band[UPPER], -box.band[LOWER])
        along = strongest * pressed.cosine + self._pressing(pressed, strongest) * hold
        out[6] = 2.0 / self.mass * normals(pressed, along, self.form.normals, 1.0)
        if not seeing:
            return out, own, None
        hold, _ = self.other.least(-box.band[UPPER], -box.band[LOWER])
        along = weakest * pressed.cosine + self._pressing(pressed, weakest) * hold
        return out, own, normals(pressed, along, self.form.normals, -1.0) / self.mass

    def _lead(self, pressed: Pressed, shares: Shares, box: _Box, end: int) -> tuple[Floats, Floats]:
        """Rate of Y² on its face and its own derivative."""
        sign, lead = SIGNS[end], box.lead[end]
        drift = product(shares.slip_band, box.band)
        slips = [box.wheel(self, side) - shares.slip_lead * lead + drift[side] for side in (UPPER, LOWER)]
        grip, slope = grip_extreme(self.traction, slips, sign)
        gain = normals(pressed, grip * shares.lead_a, self.form.normals, sign)
        fast, slow = (self.form.speed(lead, band) for band in box.band)
        rate = 2.0 / self.mass * lead * per_speed(gain, sign, slow, fast)
        own = -pressed.high * shares.lead_a * slope * shares.slip_lead / (self.mass * np.maximum(fast, SLOW))
        return rate, np.minimum(own, 0.0)

    def _band(self, pressed: Pressed, shares: Shares, box: _Box, end: int) -> tuple[Floats, Floats]:
        """Rate of z on its face and its own derivative. Linear in φ_A but for the bend where a rail lets go."""
        sign, band = SIGNS[end], box.band[end]
        drift = shares.slip_band * band
        slips = [box.wheel(self, side) - shares.slip_lead * box.lead[1 - side] + drift for side in (UPPER, LOWER)]
        most, slope_most = grip_extreme(self.traction, slips, 1.0)
        least, slope_least = grip_extreme(self.traction, slips, -1.0)
        held, steepness = self.other.both(-band)
        gains = [
            normals(
                pressed, grip * shares.band_a + self._pressing(pressed, grip) * held * shares.band_b,
                self.form.normals, sign,
            )
            for grip in (least, most, *self._bend(pressed, least, most))
        ]  # fmt: skip
        gain = sign * np.max([sign * one for one in gains], axis=0)
        fast, slow = (self.form.speed(lead, band) for lead in box.lead)
        by_grip = shares.band_a * shares.slip_band * np.maximum(slope_least, slope_most)
        own = pressed.high * (np.minimum(by_grip, 0.0) - shares.band_b * steepness)
        speed = np.where(sign * gain > 0.0, np.maximum(slow, SLOWEST), np.maximum(fast, SLOW))
        return gain / (self.mass * speed), np.minimum(own / (self.mass * speed), 0.0)

    def _held(self, pressed: Pressed, shares: Shares, box: _Box, end: int, grip: Floats) -> Floats:
        """Rate of H on its face; grip: the φ_A that is worst for it."""
        sign = SIGNS[end]
        gain = normals(pressed, -grip * shares.held_a, self.form.held_normals, sign)
        lost = self.form.ratio * box.lead[end] - box.held[end]
        gain = gain + self.motor.force(lost, self.holding[end])
        fast, slow = (self.form.speed(*pair) for pair in zip(box.lead, box.band, strict=True))
        return per_speed(gain, sign, slow, fast) / self.motor.wheel_mass

    def _grips(self, shares: Shares, box: _Box) -> tuple[Floats, Floats]:
        """Return the least and greatest φ_A in the whole box."""
        drift = product(shares.slip_band, box.band)
        slips = [box.wheel(self, side) - shares.slip_lead * box.lead[1 - side] + drift[side] for side in (UPPER, LOWER)]
        return grip_extreme(self.traction, slips, -1.0)[0], grip_extreme(self.traction, slips, 1.0)[0]

    def _pressing(self, pressed: Pressed, grip: Floats) -> Floats:
        """N_B/N."""
        if not self.form.rolls:
            return np.ones_like(grip)
        return np.maximum(pressed.cosine - grip * pressed.tilt_high, 0.0)

    def _bend(self, pressed: Pressed, least: Floats, most: Floats) -> tuple[Floats, ...]:
        if not self.form.rolls:
            return ()
        tilt = np.where(np.abs(pressed.tilt_high) < 1e-9, 1e-9, pressed.tilt_high)
        return (np.clip(pressed.cosine / tilt, least, most),)

    def keep(self, state: Floats) -> Floats:
        """State within what `reach` allows, and v² within what Y and z make of it."""
        lead = np.sqrt(np.maximum(state[0], 0.0))
        fast = self._fast(lead, state)
        fastest = np.maximum(self.fastest, fast)
        spin_low, spin_high, wheel_low, wheel_high = self.reach.at(fastest)
        of_lead, of_band = self.form.mix
        if of_lead > 0.0:
            lead = np.minimum(lead, fast + self.form.inertia * spin_high)
        band = np.minimum(np.minimum(state[2], self.barrier[0]), fast - spin_low)
        deepest = -np.minimum(spin_high, of_lead / of_band * lead)
        lower = np.clip(state[1], 0.0, lead**2)
        ratio = self.form.ratio
        return np.stack(
            [
                lead**2, lower, band, np.minimum(np.maximum(np.maximum(state[3], self.barrier[1]), deepest), band),
                np.minimum(state[4], ratio * lead + np.maximum(wheel_high - self.low, 0.0)),
                np.maximum(state[5], ratio * np.sqrt(lower) - self.high + np.minimum(wheel_low, 0.0)), fast**2,
            ]
        )  # fmt: skip

    def _fast(self, lead: Floats, state: Floats) -> Floats:
        """Return the greatest v; by its own bound only where z is wide, as that bound is integrated less closely."""
        mixed = np.maximum(self.form.speed(lead, state[2]), 0.0)
        wide = state[2] - state[3] > WIDE * np.maximum(self.high, self.fastest)
        return np.asarray(np.where(wide, np.minimum(np.sqrt(np.maximum(state[6], 0.0)), mixed), mixed))

    def scale(self, state: Floats) -> Floats:
        """See march.Run."""
        top = np.maximum(self.high, self.fastest)
        held = (1.0 + self.form.ratio) * top
        small = 0.01 * self.fastest**2
        return np.stack([state[0] + small, state[1] + small, top, top, held, held, state[6] + small])

    def note(self, chosen: NDArray[np.bool_], state: Floats) -> None:
        """See march.Run."""
        lead = np.sqrt(np.maximum(state[0], 0.0))
        fast = self._fast(lead, state)
        short = np.minimum(state[6], 0.0) - np.minimum(self.form.speed(lead, state[2]), 0.0) ** 2
        self.fastest = np.where(chosen, np.maximum(self.fastest, fast), self.fastest)
        self.dip = np.where(chosen, self.dip + short, self.dip)
        self.jams = self.jams | (self.dip < -STOPPED * self.fastest**2)
        slowest = self.form.speed(np.sqrt(np.maximum(state[1], 0.0)), state[3])
        self.stalls = self.stalls | (chosen & (slowest <= 0.0))

    def feel(self, chosen: NDArray[np.bool_], pull: Floats) -> None:
        """See march.Run."""
        self.strain = np.where(chosen, np.maximum(self.strain, pull), self.strain)

    def merge(self, index: NDArray[np.intp], part: LedRun) -> None:
        """See march.Run."""
        for name in ("fastest", "dip", "jams", "stalls", "strain"):
            getattr(self, name)[index] = getattr(part, name)


@dataclass(frozen=True, slots=True)
class _Box:
    """Bounds at one place, each (2, lanes), upper ends first: Y, z, H [m/s]."""

    lead: Floats
    band: Floats
    held: Floats

    def wheel(self, run: LedRun, end: int) -> Floats:
        """U + H."""
        return np.asarray(self.held[end] + (run.high, run.low)[end])
