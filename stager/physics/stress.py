"""Stresses of turning discs and rings: uniform thickness, plane stress, free rims.

Timoshenko & Goodier, Theory of Elasticity; Hearn, Mechanics of Materials 2, ch. 4; Roark's Formulas, table of
rotating discs. All shapes broadcast; `inner` = 0 is a solid disc, whose centre bears half of what the edge of the
smallest hole does.
"""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number


def ring_hoop(density: Number, surface_speed: Number) -> Floats:
    """ρu² [Pa] of a thin ring: density [kg/m^3], surface_speed [m/s]."""
    return np.asarray(density * np.square(surface_speed), dtype=np.float64)


def radial(radius: Number, outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Radial stress at `radius` [Pa]; radii [m], load ρω² [N/m^4], poisson [-].

    (3 + ν)/8·ρω²·(b² + a² − a²b²/r² − r²).
    """
    return np.asarray((3 + poisson) / 8 * load * (outer**2 + inner**2 - _crossed(radius, outer, inner) - radius**2))


def hoop(radius: Number, outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Hoop stress at `radius` [Pa]; arguments as in `radial`.

    (3 + ν)/8·ρω²·(b² + a² + a²b²/r² − (1 + 3ν)/(3 + ν)·r²).
    """
    bend = (1 + 3 * poisson) / (3 + poisson) * radius**2
    return np.asarray((3 + poisson) / 8 * load * (outer**2 + inner**2 + _crossed(radius, outer, inner) - bend))


def greatest_radial(outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """(3 + ν)/8·ρω²·(b − a)² [Pa], at r = √(ab), a solid disc's at its centre; arguments as in `radial`."""
    return np.asarray((3 + poisson) / 8 * load * np.square(outer - inner))


def greatest_hoop(outer: Number, inner: Number, load: Number, poisson: Number) -> Floats:
    """Hoop stress at the bore, of a solid disc at its centre [Pa]; arguments as in `radial`."""
    bored = load / 4 * ((3 + poisson) * outer**2 + (1 - poisson) * inner**2)
    return np.where(np.asarray(inner) > 0, bored, (3 + poisson) / 8 * load * outer**2)


def mean_hoop(outer: Number, inner: Number, load: Number) -> Floats:
    """Hoop stress averaged over the section, ρω²·(b² + ab + a²)/3 [Pa], whatever ν; arguments as in `radial`."""
    return np.asarray(load / 3 * (outer**2 + outer * inner + inner**2))


def pulled_hoop(pull: Number, outer: Number, inner: Number) -> Floats:
    """Hoop stress that a pull [Pa] on the outer face adds at the bore, of a solid disc anywhere [Pa] (Lamé)."""
    bored = np.asarray(inner) > 0
    return np.where(bored, 2 * pull * outer**2 / (outer**2 - inner**2), pull)


def _crossed(radius: Number, outer: Number, inner: Number) -> Floats:
    """a²b²/r² [m^2], 0 for a solid disc."""
    at = np.where(np.asarray(inner) > 0, radius, 1.0)
    return np.asarray(inner**2 * outer**2 / at**2)
