"""Bounds for a pair whose two wheels run alike and whose projectile does not spin; round shapes and rods.

Theorem (M. Müller 1927; W. Walter, Differential and Integral Inequalities, 1970, from memory): bounds y⁻ ≤ y ≤ y⁺ of
y' = f(x, y) hold throughout where they hold at the start and each component's upper bound obeys
y_i⁺' ≥ f_i(x, η) for every η within the bounds whose own component η_i is y_i⁺, the lower one likewise with ≤.
With one component this is the comparison theorem.

Coordinates. With M = J/R², κ = m/(2M), the set speed U and t = sin φ (for a rod: its ramp's slope), per unit time

    m v' = 2 N (φ cos φ + t) + 2 l                 s = u − v cos φ
    M u' = τ/R − N φ

so H = u − U + κ v is nearly conserved: M H' = N (t − φ (1 − cos φ)) + l + τ/R, τ falling with U − u = κ v − H.
Slip is s = U + H − (κ + cos φ) v. Along the barrel, with w = v²: w' = (4/m) [N (φ cos φ + t) + l] and H' as above
divided by v. On the face v = v⁺ slip has no width but that of U and H. For heavy wheels κ → 0, u = U + H, and the
bound becomes friction at its largest within the interval of wheel speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.hardware.arrays import Floats
from stager.staging.certificate.extremes import SLOWEST, STOPPED, normals, per_speed
from stager.staging.certificate.motor import Motor
from stager.staging.certificate.press import Press
from stager.staging.certificate.traction import Traction


@dataclass
class EvenRun:
    """One batch of cells on its way; state rows: w⁺, w⁻, H⁺, H⁻.

    strain: least peak acceleration so far; crossing: least acceleration that the crest of friction would have made
    since slips all lay above it, −∞ before they did [m/s^2].
    """

    mass: float
    wheel_mass: float
    traction: Traction
    motor: Motor
    press: Press
    low: Floats
    high: Floats
    fastest: Floats
    dip: Floats
    jams: NDArray[np.bool_]
    stalls: NDArray[np.bool_]
    strain: Floats
    crossing: Floats

    @property
    def ratio(self) -> float:
        """κ = m/(2M)."""
        return self.mass / (2.0 * self.wheel_mass)

    def rate(
        self, number: int, place: Floats, state: Floats, *, seeing: bool = True
    ) -> tuple[Floats, Floats, Floats | None]:
        """See march.Run."""
        pressed = self.press.at(number, place)
        own = np.zeros_like(state)
        out = np.empty_like(state)
        upper, lower = np.sqrt(np.maximum(state[0], 0.0)), np.sqrt(np.maximum(state[1], 0.0))
        least, most = self.low + state[3], self.high + state[2]
        by_speed = self.ratio + pressed.cosine
        slow, fast = by_speed * lower, by_speed * upper
        ends = least - fast, most - fast, least - slow, most - slow
        grips, slopes = self._grips(*ends)
        out[0] = 4.0 / self.mass * normals(pressed, grips[0] * pressed.cosine, 1.0, 1.0)
        own[0] = self._stiffness(pressed.high, pressed.cosine, slopes[0], by_speed, upper)
        out[1] = 4.0 / self.mass * normals(pressed, grips[1] * pressed.cosine, 1.0, -1.0)
        own[1] = self._stiffness(pressed.low, pressed.cosine, slopes[1], by_speed, lower)
        weakest, strongest = grips[2], grips[3]
        away = 1.0 - pressed.cosine
        gain = normals(pressed, -weakest * away, 1.0, 1.0)
        gain = gain + self.motor.force(self.ratio * upper - state[2], self.low)
        out[2] = per_speed(gain, 1.0, lower, upper) / self.wheel_mass
        gain = normals(pressed, -strongest * away, 1.0, -1.0)
        gain = gain + self.motor.force(self.ratio * lower - state[3], self.high)
        out[3] = per_speed(gain, -1.0, lower, upper) / self.wheel_mass
        if not seeing:
            return out, own, None
        pull, crest = (
            2.0 / self.mass * normals(pressed, grip * pressed.cosine, 1.0, -1.0)
            for grip in (weakest, self.traction.peak)
        )
        return out, own, np.stack([pull, crest, ends[0], ends[3]])

    def _grips(
        self, least_fast: Floats, most_fast: Floats, least_slow: Floats, most_slow: Floats
    ) -> tuple[Floats, Floats]:
        """φ and dφ/ds: greatest on the face v⁺, least on the face v⁻, least and greatest of all; φ is odd."""
        low = np.stack([least_fast, -most_slow, -most_slow, least_fast])
        high = np.stack([most_fast, -least_slow, -least_fast, most_slow])
        grips, slopes = self.traction.greatest(low, high)
        grips[1:3] = -grips[1:3]
        return grips, slopes

    def brace(self, number: int, place: Floats, ahead: Floats, state: Floats) -> None:
        """Nothing is known that `keep` does not know."""

    def keep(self, state: Floats) -> Floats:
        """0 ≤ u ≤ max(U, v so far): only a faster projectile speeds a wheel up past its set speed.

        And with no more than it has: since the last moment with u = U the motor has given nothing, so with S the crush
        energy of a side M u² ≤ M U² + m v²/2 + 2 S.
        """
        above = np.maximum(state[0], 0.0)
        below = np.clip(state[1], 0.0, above)
        upper = np.sqrt(above)
        fastest = np.maximum(self.fastest, upper)
        given = self.ratio * fastest**2 + 2.0 * self.press.stored / self.wheel_mass
        wheel = np.minimum(np.maximum(self.high, fastest), np.sqrt(self.high**2 + given))
        most = self.ratio * upper + wheel - self.low
        least = self.ratio * np.sqrt(below) - self.high
        return np.stack([above, below, np.minimum(state[2], most), np.maximum(state[3], least)])

    def scale(self, state: Floats) -> Floats:
        """See march.Run."""
        top = np.maximum(self.high, self.fastest)
        held = (1.0 + self.ratio) * top
        small = 0.01 * self.fastest**2
        return np.stack([state[0] + small, state[1] + small, held, held])

    def note(self, chosen: NDArray[np.bool_], state: Floats) -> None:
        """See march.Run."""
        upper = np.sqrt(np.maximum(state[0], 0.0))
        self.fastest = np.where(chosen, np.maximum(self.fastest, upper), self.fastest)
        self.dip = np.where(chosen, self.dip + np.minimum(state[0], 0.0), self.dip)
        self.jams = self.jams | (self.dip < -STOPPED * self.fastest**2)
        self.stalls = self.stalls | (chosen & (state[1] <= 0.0))

    def feel(self, chosen: NDArray[np.bool_], seen: Floats) -> None:
        """See march.Run. seen: least acceleration, what the crest of friction would make [m/s^2], least and greatest
        slip [m/s].

        Where slips all lie above the crest, and later all below, every throw has passed it, and with it what it makes
        at the least favourable of the places between.
        """
        pull, crest, least, most = seen
        since = np.where(least > self.traction.crest, crest, np.minimum(self.crossing, crest))
        self.crossing = np.where(chosen, since, self.crossing)
        pull = np.where(most < self.traction.crest, np.maximum(pull, self.crossing), pull)
        self.strain = np.where(chosen, np.maximum(self.strain, pull), self.strain)

    def merge(self, index: NDArray[np.intp], part: EvenRun) -> None:
        """See march.Run."""
        for name in ("fastest", "dip", "jams", "stalls", "strain", "crossing"):
            getattr(self, name)[index] = getattr(part, name)

    def _stiffness(self, normal: Floats, cosine: Floats, slope: Floats, by_speed: Floats, speed: Floats) -> Floats:
        own = -2.0 / self.mass * normal * cosine * slope * by_speed / np.maximum(speed, SLOWEST)
        return np.minimum(own, 0.0)
