"""The equations of a stage with one driven wheel, as coefficients; see `led`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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
    """A round shape of `mass` [kg] on a rail; wheel_mass J/R² [kg]."""
    return Form(inertia_factor, True, 1.0, 0.5, mass / (2.0 * wheel_mass))


def rod_form(mass: float, wheel_mass: float, idler_mass: float | None) -> Form:
    """A rod of `mass` [kg] against an idler of J_B/R² = idler_mass [kg], or a rail (None)."""
    if idler_mass is None:
        return Form(np.inf, False, 1.0, 1.0, mass / wheel_mass)
    return Form(idler_mass / mass, False, 2.0, 2.0, mass / wheel_mass)
