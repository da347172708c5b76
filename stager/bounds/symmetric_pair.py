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

Slip heat grows by 2 N φ s per unit time, at least 2 N⁻ min(φ s)/v⁺ along the barrel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.bounds.normal_force import Press, Pressed
from stager.bounds.speed_limits import Motor
from stager.bounds.traction import SLOW, SLOWEST, STOPPED, Traction, chosen_normals
from stager.model.arrays import Floats

FACES = np.array([[1.0], [-1.0], [1.0], [-1.0]])
"""Rows of the state: greatest and least of w, then of H."""
ENDS = FACES[2:]
HEAT_SCALE = 0.1


@dataclass
class EvenRun:
    """One batch of cells on its way; state rows: w⁺, w⁻, H⁺, H⁻, and where `heated` the least slip heat [J].

    set_speed: greatest and least U, (2, lanes) [m/s]; holding: see Motor, at the least and the greatest U, (2, lanes)
    [N]; stored: greatest crush energy of a side [J]; strain: least peak acceleration so far; crossing: least
    acceleration that the crest of friction would have made since slips all lay above it, −∞ before they did [m/s^2].
    """

    mass: float
    traction: Traction
    motor: Motor
    press: Press
    set_speed: Floats
    holding: Floats
    stored: Floats
    heated: bool
    fastest: Floats
    dip: Floats
    jams: NDArray[np.bool_]
    stalls: NDArray[np.bool_]
    strain: Floats
    crossing: Floats

    @property
    def ratio(self) -> float:
        """κ = m/(2M)."""
        return self.mass / (2.0 * self.motor.wheel_mass)

    def rate(
        self, number: int, place: Floats, state: Floats, *, seeing: bool = True
    ) -> tuple[Floats, Floats, Floats | None]:
        """See march.Run."""
        pressed = self.press.at(number, place)
        speed, conserved = np.sqrt(np.maximum(state[:2], 0.0)), state[2:4]
        by_speed = self.ratio + pressed.cosine
        low, high = self._slips(conserved + self.set_speed, by_speed * speed)
        grips, slopes = self.traction.greatest(low, high)
        # The least φ is the greatest of −φ: φ is odd.
        grips[1:3] *= -1.0
        shares = np.empty_like(low)
        np.multiply(grips[:2], pressed.cosine, out=shares[:2])
        np.multiply(grips[2:], pressed.cosine - 1.0, out=shares[2:])
        gain, normal = chosen_normals(pressed, shares, FACES)
        own = np.zeros_like(state)
        own[:2] = normal[:2] * (pressed.cosine * by_speed) * slopes[:2] / np.maximum(speed, SLOWEST)
        own[:2] = np.minimum(own[:2] * (-2.0 / self.mass), 0.0)
        gain[:2] *= 4.0 / self.mass
        held = gain[2:] + self.motor.force(self.ratio * speed - conserved, self.holding)
        slow, fast = np.maximum(speed[1], SLOWEST), np.maximum(speed[0], SLOW)
        gain[2:] = held / (np.where(held * ENDS > 0.0, slow, fast) * self.motor.wheel_mass)
        seen = self._sight(pressed, grips[2], low[3], high[3]) if seeing else None
        if self.heated:
            lost = self.traction.least_lost(np.maximum(np.maximum(low[3], -high[3]), 0.0))
            gain = np.vstack([gain, 2.0 * pressed.low * lost / fast])
        return gain, own, seen

    @staticmethod
    def _slips(wheel: Floats, pace: Floats) -> tuple[Floats, Floats]:
        """Ends of s on the face v⁺, of −s on the face v⁻, of −s and of s in the whole box, (4, lanes) each; wheel:
        greatest and least U + H, pace: (κ + cos φ) v likewise."""
        low, high = np.empty((4, pace.shape[1])), np.empty((4, pace.shape[1]))
        low[0] = low[3] = wheel[1] - pace[0]
        low[1] = low[2] = pace[1] - wheel[0]
        np.subtract(wheel[0], pace[0], out=high[0])
        np.subtract(pace[1], wheel[1], out=high[1])
        np.negative(low[0], out=high[2])
        np.negative(low[1], out=high[3])
        return low, high

    def _sight(self, pressed: Pressed, weakest: Floats, least: Floats, most: Floats) -> Floats:
        """Return what `feel` takes."""
        grips = np.stack([weakest, np.full_like(weakest, self.traction.peak)])
        pulls, _ = chosen_normals(pressed, grips * pressed.cosine, -np.ones((2, 1)))
        return np.concatenate([2.0 / self.mass * pulls, [least, most]])

    def brace(self, number: int, place: Floats, ahead: Floats, state: Floats) -> None:
        """Nothing is known that `keep` does not know."""

    def keep(self, state: Floats) -> Floats:
        """0 ≤ u ≤ max(U, v so far): only a faster projectile speeds a wheel up past its set speed.

        And with no more than it has: since the last moment with u = U the motor has given nothing, so with S the crush
        energy of a side M u² ≤ M U² + m v²/2 + 2 S.
        """
        out, (high, low) = state.copy(), self.set_speed
        np.maximum(state[0], 0.0, out=out[0])
        np.minimum(np.maximum(state[1], 0.0), out[0], out=out[1])
        upper, lower = np.sqrt(out[:2])
        fastest = np.maximum(self.fastest, upper)
        given = self.ratio * (fastest * fastest) + (2.0 / self.motor.wheel_mass) * self.stored
        wheel = np.minimum(np.maximum(high, fastest), np.sqrt(high * high + given))
        np.minimum(state[2], self.ratio * upper + (wheel - low), out=out[2])
        np.maximum(state[3], self.ratio * lower - high, out=out[3])
        return out

    def scale(self, state: Floats) -> Floats:
        """See march.Run."""
        top = np.maximum(self.set_speed[0], self.fastest)
        held = (1.0 + self.ratio) * top
        small = 0.01 * self.fastest**2
        rows = [state[0] + small, state[1] + small, held, held]
        return np.stack([*rows, HEAT_SCALE * self.mass * top**2] if self.heated else rows)

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
