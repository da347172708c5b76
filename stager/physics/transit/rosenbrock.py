"""One step of a linearly implicit method of order 4 with an estimate of order 3, L-stable, three evaluations.

Coefficients: "L-stable method" of Hairer and Wanner, Solving Ordinary Differential Equations II, section IV.7,
in the transformed form that public solver collections use; from memory, and checked by the measured order.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stager.hardware.arrays import Floats
from stager.physics.transit.equations import Implicit, Lanes, Slopes

GAMMA = 0.57282062499
_A21 = 2.0
_A31, _A32 = 1.867943637803922, 0.2344449711399156
_C21 = -7.137615036412310
_C31, _C32 = 2.580708087951457, 0.6515950076447975
_C41, _C42, _C43 = -2.137148994382534, -0.3214669691237626, -0.6949742501781779
_B1, _B2, _B3, _B4 = 2.255570073418735, 0.2870493262186792, 0.4353179431840180, 1.093502252409163
_E1, _E2, _E3, _E4 = -0.2815431932141155, -0.07276199124934920, -0.1082196201495311, -1.093502252409163
_ALPHA2, _ALPHA3 = 1.1456412499, 0.6552168638155900
_GAMMA1, _GAMMA2 = GAMMA, -1.769193891319233
_GAMMA3, _GAMMA4 = 0.7592633437920482, -0.1049021087100450

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
    drift = size * drift
    first = implicit.solve(reach * (now.rate * stretch + _GAMMA1 * drift))
    later, scale = rate(place + _ALPHA2 * size, state + _A21 * first)
    second = implicit.solve(reach * (later.rate * scale + _GAMMA2 * drift) + (GAMMA * _C21) * first)
    later, scale = rate(place + _ALPHA3 * size, state + _A31 * first + _A32 * second)
    inner = later.rate * scale
    third = implicit.solve(reach * (inner + _GAMMA3 * drift) + GAMMA * (_C31 * first + _C32 * second))
    fourth = implicit.solve(
        reach * (inner + _GAMMA4 * drift) + GAMMA * (_C41 * first + _C42 * second + _C43 * third)
    )
    error = _E1 * first + _E2 * second + _E3 * third + _E4 * fourth
    return state + _B1 * first + _B2 * second + _B3 * third + _B4 * fourth, np.abs(error)
