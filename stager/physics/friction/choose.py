"""The kernels' way to a friction law: its number and its values."""

from __future__ import annotations

from typing import Any

import numpy as np

from stager.physics.compiled import compiled
from stager.physics.friction import FORMULAS, REGISTERED, packed, tables
from stager.physics.friction.law import Formula, Law
from stager.physics.friction.tabulated import curve


def number_and_values(law: Any) -> tuple[int, tuple[Any, ...]]:
    """Return the number of a law's formula and its values, floats or arrays over the batch.

    A law that is not registered is known by its `coefficient` alone: it becomes a curve through many of its points,
    with its own slopes (error about 1e-9 of a smooth law).
    """
    if isinstance(law, Law) and type(law) in REGISTERED:
        formula: Formula = law.formulas[law.formula]
        return FORMULAS.index(formula), law.values()
    return FORMULAS.index(curve), tuple(packed(*tables(law)))


def dispatch(formulas: tuple[Formula, ...]) -> Formula:
    """Return a compiled function of (number, slip [m/s], values) that evaluates one of `formulas`."""
    found: Any = _otherwise
    for number in reversed(range(len(formulas))):
        found = _either(number, formulas[number], found)
    chosen: Formula = found
    return chosen


@compiled
def _otherwise(number, slip, values):  # type: ignore[no-untyped-def]
    return np.nan, np.nan


def _either(here: int, formula: Any, others: Any) -> Any:
    """A dispatcher that knows one formula more than `others`; composed, so that the compiler sees plain branches."""

    def coefficient(number, slip, values):  # type: ignore[no-untyped-def]
        if number == here:
            return formula(slip, values)
        return others(number, slip, values)

    return compiled(coefficient)


coefficient: Any = dispatch(FORMULAS)


