"""Greatest and least friction over intervals of slip against dense sampling."""

from __future__ import annotations

import numpy as np
import pytest

from stager.bounds.traction import Traction, greatest, least, sample, traction_of
from stager.model.arrays import Matrix, Vector
from stager.model.launcher import FrictionLaw
from stager.physics.friction import Bell, Constant, Falling, Tabulated

LAWS: dict[str, FrictionLaw] = {
    "constant": Constant(0.4),
    "falling": Falling(0.75, 0.22, 9.0),
    "falling late": Falling(0.6, 0.3, 6.0, 2.5),
    "bell": Bell(0.95, 1.5, 2.2),
    "two peaks": Tabulated((0.5, 2.0, 4.0, 7.0, 12.0), (0.5, 0.9, 0.4, 0.8, 0.3)),
    "rising": Tabulated((0.0, 5.0, 30.0), (0.2, 0.5, 0.8)),
}


def extremes(traction: Traction, low: Vector, high: Vector, out: Matrix) -> None:
    for n in range(low.size):
        out[0, n], out[1, n] = greatest(traction, low[n], high[n])[0], least(traction, low[n], high[n])[0]


@pytest.mark.parametrize("name", LAWS)
@pytest.mark.parametrize("creep", [0.05, 0.3])
def test_extremes_are_those_of_dense_samples(name: str, creep: float) -> None:
    traction, rng = traction_of(LAWS[name], creep), np.random.default_rng(3)
    low = rng.uniform(-25.0, 25.0, 400)
    high = low + rng.uniform(0.0, 1.0, 400) ** 3 * 40.0
    slips = low + np.linspace(0.0, 1.0, 4001)[:, None] * (high - low)
    values, found = np.empty(slips.size), np.empty((2, low.size))
    sample(traction.number, traction.values, creep, slips.ravel(), values)
    extremes(traction, low, high, found)
    most, fewest = values.reshape(slips.shape).max(axis=0), values.reshape(slips.shape).min(axis=0)
    assert (found[0] >= most - 1e-9).all()
    assert (found[1] <= fewest + 1e-9).all()
    # Samples 0.01 m/s apart miss a peak by the steepness there at most.
    assert found[0] == pytest.approx(most, abs=0.02)
    assert found[1] == pytest.approx(fewest, abs=0.02)
