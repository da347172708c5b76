"""One step of a linearly implicit method of order 4(3), L-stable and stiffly accurate.

Six stages of a Rosenbrock method made for stiff problems with a driven right side: it keeps its order where creep near
sync makes a contact nearly an algebraic condition. Coefficients: RODASP of Steinebach (1995), as in the codes that go
with Hairer and Wanner, Solving Ordinary Differential Equations II, in their transformed form; written down from
memory, checked by the measured order.
"""

from __future__ import annotations

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.transit.equations import Implicit, Lanes, Slopes, slopes
from stager.physics.transit.pressing import Place

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
SCALED_KNOWN = tuple(tuple(GAMMA * weight for weight in row) for row in KNOWN)


def step(
    lanes: Lanes, way: list[Place], now: Slopes, drift: Floats, state: Floats, size: Floats
) -> tuple[Floats, Floats, tuple[Slopes, ...]]:
    """New state and local error, both shape (rows, lanes), and the right side inside the step.

    The last stage's state is the one before plus the part before: the last row of STATE begins as the row before.
    way: the places of the stages, PLACE steps ahead; now: the right side at the first of them;
    drift: partial derivative of the scaled right side by the parameter; size: of the step.
    """
    reach = GAMMA * size
    scaled = reach * way[0].stretch
    implicit = Implicit(lanes, now, scaled)
    drift = reach * size * drift
    parts = [implicit.solve(scaled * now.rate + DRIFT[0] * drift)]
    inside = []
    inner = state
    for number in range(1, 6):
        inner = inner + parts[4] if number == 5 else _mix(STATE[number], parts, state)
        later = slopes(lanes, way[number].pressing, inner, steep=False)
        inside.append(later)
        known = (reach * way[number].stretch) * later.rate
        if DRIFT[number]:
            known += DRIFT[number] * drift
        parts.append(implicit.solve(_mix(SCALED_KNOWN[number], parts, known)))
    return inner + parts[5], np.abs(parts[5]), tuple(inside[:INSIDE])


def _mix(weights: tuple[float, ...], parts: list[Floats], start: Floats) -> Floats:
    total = weights[0] * parts[0]
    total += start
    spare = np.empty_like(total)
    for weight, part in zip(weights[1:], parts[1:], strict=True):
        total += np.multiply(weight, part, out=spare)
    return total
