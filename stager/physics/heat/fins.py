"""Efficiency of fins."""

from __future__ import annotations

import numpy as np

from stager.model.arrays import Floats, Number


def straight_efficiency(length: Number, thickness: Number, conductivity: Number, film: Number) -> Floats:
    """tanh(mL)/(mL) [-], m = √(2h/(kt)), of a straight fin with an insulated tip; lengths [m], conductivity
    [W/(m K)], film coefficient [W/(m^2 K)]. For a tip that gives off heat add half the thickness to the length."""
    slope = np.sqrt(2 * film / (conductivity * thickness)) * length
    return np.asarray(np.tanh(slope) / slope)


def annular_efficiency(inner: Number, outer: Number, thickness: Number, conductivity: Number, film: Number) -> Floats:
    """Efficiency of an annular fin of even thickness [-], insulated tip; radii [m], as in `straight_efficiency`.

    2a/(m(b² − a²))·[K₁(ma)I₁(mb) − I₁(ma)K₁(mb)]/[I₀(ma)K₁(mb) + K₀(ma)I₁(mb)] (Gardner 1945; Incropera, ch. 3).
    Scaled Bessel functions, so that long thin fins do not overflow.
    """
    from scipy.special import i0e, i1e, k0e, k1e

    slope = np.sqrt(2 * film / (conductivity * thickness))
    root, tip = slope * inner, slope * outer
    away = np.exp(-2 * (tip - root))
    above = k1e(root) * i1e(tip) - i1e(root) * k1e(tip) * away
    below = i0e(root) * k1e(tip) * away + k0e(root) * i1e(tip)
    return np.asarray(2 * inner / (slope * (outer**2 - inner**2)) * above / below)
