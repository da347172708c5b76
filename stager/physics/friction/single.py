"""A friction law at single slip speeds."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stager.model.arrays import Number
from stager.model.contact import FrictionLaw

Coefficient = Callable[[float], tuple[float, float]]
"""Coefficient [-] and slope [s/m] at one slip speed [m/s]."""


def coefficient_at(law: FrictionLaw) -> Coefficient:
    """Coefficient [-] and slope [s/m] of `law`, one lane, at one slip speed |s| ≥ 0 [m/s].

    A law that also works in plain numbers says so with `alone()`.
    """
    alone: Callable[[], Coefficient] | None = getattr(law, "alone", None)
    if alone is not None:
        return alone()

    def through_arrays(slip: float) -> tuple[float, float]:
        coefficient, slope = law.coefficient(np.array([slip]))
        return float(coefficient[0]), float(slope[0])

    return through_arrays


def number(value: Number) -> float:
    """A parameter of one lane as a plain number."""
    return float(np.asarray(value).reshape(-1)[0])
