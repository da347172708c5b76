"""One step of a linearly implicit method of order 4(3), L-stable and stiffly accurate.

Six stages of a Rosenbrock method that keeps its order where creep near sync makes a contact nearly an algebraic
condition. Coefficients: RODAS of Hairer and Wanner, Solving Ordinary Differential Equations II, section VI.4, in the
transformed form of public solver collections; written down from memory, checked by the measured order.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.transit.equations import Implicit, Lanes, Slopes

GAMMA = 0.25
_PLACE = (0.0, 0.386, 0.21, 0.63, 1.0, 1.0)
_DRIFT = (0.25, -0.1043, 0.1035, -0.0362, 0.0, 0.0)
_FIFTH = (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950)
_STATE = (
    (),
    (1.544,),
    (0.9466785280815826, 0.2557011698983284),
    (3.314825187068521, 2.896124015972201, 0.9986419139977817),
    _FIFTH,
    (*_FIFTH, 1.0),
)
_KNOWN = (
    (),
    (-5.6688,),
    (-2.430093356833875, -0.2063599157091915),
    (-0.1073529058151375, -9.594562251023355, -20.47028614809616),
    (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160),
    (8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054),
)

Rate = Callable[[Floats, Floats], tuple[Slopes, Floats]]


def step(
    lanes: Lanes, rate: Rate, now: Slopes, stretch: Floats, drift: Floats, state: Floats, place: Floats, size: Floats
) -> tuple[Floats, Floats]:
    """New state and local error, both shape (rows, lanes).

    rate(parameter, state) gives (slopes, dx/dparameter); now, stretch: its value at the step's start;
    drift: partial derivative of the scaled right side by the parameter; place, size: parameter and step.
    """
    reach = GAMMA * size
    implicit = Implicit(lanes, now, reach * stretch)
    drift = reach * size * drift
    parts = [implicit.solve((reach * stretch) * now.rate + _DRIFT[0] * drift)]
    for number in range(1, 6):
        inner = _mix(_STATE[number], parts, state)
        later, scale = rate(place + _PLACE[number] * size, inner)
        known = (reach * scale) * later.rate
        if _DRIFT[number]:
            known += _DRIFT[number] * drift
        parts.append(implicit.solve(_mix(tuple(GAMMA * weight for weight in _KNOWN[number]), parts, known)))
    return inner + parts[5], np.abs(parts[5])


def _mix(weights: tuple[float, ...], parts: list[Floats], start: Floats) -> Floats:
    total = start.copy()
    for weight, part in zip(weights, parts, strict=True):
        total += part if weight == 1.0 else weight * part
    return total
