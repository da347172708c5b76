"""Coefficients of a linearly implicit method of order 4(3), L-stable and stiffly accurate.

Six stages of a Rosenbrock method made for stiff problems with a driven right side: it keeps its order where creep near
sync makes a contact nearly an algebraic condition. RODASP of Steinebach (1995), as in the codes that go with Hairer and
Wanner, Solving Ordinary Differential Equations II, in their transformed form; written down from memory, checked by the
measured order.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

GAMMA = 0.25
PLACE = (0.0, 0.75, 0.21, 0.63, 1.0, 1.0)
INSIDE = 3
"""How many of the later stages lie inside the step, not at its end."""
DRIFT = (0.25, -0.5, -0.023504, -0.0362, 0.0, 0.0)
_FIFTH = (-7.170454962423024, -4.741636671481785, -16.31002631330971, -1.062004044111401)
STATE = (
    (),
    (3.0,),
    (1.831036793486759, 0.4955183967433795),
    (2.304376582692669, -0.05249275245743001, -1.176798761832782),
    _FIFTH,
    (*_FIFTH, 1.0),
)
KNOWN = (
    (),
    (-12.0,),
    (-8.791795173947035, -2.207865586973518),
    (10.81793056857153, 6.780270611428266, 19.53485944642410),
    (34.19095006749676, 15.49671153725963, 54.74760875964130, 14.16005392148534),
    (34.62605830930532, 15.30084976114473, 56.99955578662667, 18.40807009793095, -5.714285714285717),
)


def _total() -> tuple[float, ...]:
    """Share in the end of a step of what each stage adds to a quantity that acts on nothing."""
    shares = [*STATE[5], 1.0]
    for stage in reversed(range(6)):
        shares[stage] += sum(GAMMA * KNOWN[later][stage] * shares[later] for later in range(stage + 1, 6))
    return tuple(shares)


TOTAL = _total()
TOTAL_DRIFT = sum(weight * pull for weight, pull in zip(TOTAL, DRIFT, strict=True))


def _square(rows: tuple[tuple[float, ...], ...], scale: float) -> NDArray[np.float64]:
    table = np.zeros((6, 6))
    for number, row in enumerate(rows):
        table[number, : len(row)] = np.multiply(scale, row)
    return table


MIX, MIX_KNOWN = _square(STATE, 1.0), _square(KNOWN, GAMMA)
"""STATE and KNOWN as tables, the latter times GAMMA."""
PLACES, DRIFTS, TOTALS = (np.array(row) for row in (PLACE, DRIFT, TOTAL))
