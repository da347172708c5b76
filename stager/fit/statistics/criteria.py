"""Comparing models."""

from __future__ import annotations

import math


def aicc(loss: float, parameters: float, count: int) -> float:
    """AICc = 2·loss + 2k + 2k(k + 1)/(n − k − 1).

    loss: −ln likelihood at the fit; parameters k, the noise's size among them, may be an effective number (trace of
    the smoother, as Hurvich, Simonoff and Tsai, J. R. Stat. Soc. B 60 (1998), use it); count n of data. inf where
    there are too few data to tell. Source: Hurvich and Tsai, Biometrika 76 (1989), as read in
    the manual of the R package sme.
    """
    left = count - parameters - 1
    return math.inf if left <= 0 else 2 * loss + 2 * parameters + 2 * parameters * (parameters + 1) / left


def holm(probabilities: list[float]) -> list[float]:
    """p values adjusted for being several, in their order (Holm, Scand. J. Stat. 6 (1979), from memory)."""
    order = sorted(range(len(probabilities)), key=lambda k: probabilities[k])
    out, least = [0.0] * len(probabilities), 0.0
    for rank, k in enumerate(order):
        least = max(least, min(1.0, (len(probabilities) - rank) * probabilities[k]))
        out[k] = least
    return out
