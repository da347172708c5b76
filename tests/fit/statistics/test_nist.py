"""Certified values of NIST StRD reproduced by the least-squares solver."""

from __future__ import annotations

import numpy as np
import pytest

from stager.fit.statistics.least_squares import LeastSquares, minimise
from tests.fit.statistics import nist_sets
from tests.fit.statistics.losses import Squares

# Difficulty as the files give it: Misra1a, DanWood lower; MGH17, Hahn1 average; Rat42, MGH10, Thurber higher.
# Damped least squares does not converge from the far starts of MGH10 and MGH17; their near starts are used.
BOTH_STARTS = ("Misra1a", "DanWood", "Rat42", "Thurber", "Hahn1")
CASES = [*((name, start) for name in BOTH_STARTS for start in (0, 1)), ("MGH10", 1), ("MGH17", 1)]


@pytest.mark.parametrize(("name", "start"), CASES)
def test_certified_values_are_reproduced_to_six_digits(name: str, start: int) -> None:
    known = nist_sets.read(name)
    scale = np.abs(known.starts[1])
    problem = LeastSquares(
        residuals=lambda z: nist_sets.model(name, z * scale, known.x) - known.y,
        loss=Squares(),
        step=np.full(scale.size, 1e-6),
        central=True,
    )
    found = minimise(problem, (known.starts[start] / scale)[None], iterations=2000, tolerance=0.0)
    values = found.place[0] * scale
    # s²(JᵀJ)⁻¹ with s² = Σe²/(n − p); scaled by the diagonal, as some problems are badly conditioned.
    size = np.sqrt(np.diagonal(found.curvature[0]))
    spread = np.diagonal(np.linalg.inv(found.curvature[0] / np.outer(size, size))) / size**2
    deviations = np.sqrt(spread * 2 * found.objective[0] / (known.y.size - scale.size)) * scale
    assert values == pytest.approx(known.values, rel=1e-6)
    assert deviations == pytest.approx(known.deviations, rel=1e-4)
    assert 2 * found.objective[0] == pytest.approx(known.squares, rel=1e-8)


def test_start_from_which_full_steps_lead_away_converges_all_the_same() -> None:
    # Newton's method on arctan diverges beyond 1.3917 (any text on numerical analysis); damping rises until it falls.
    problem = LeastSquares(residuals=np.arctan, loss=Squares(), step=np.full(1, 1e-6), central=True)
    found = minimise(problem, np.array([[40.0], [-3.0], [0.5]]), damping=1e-6, iterations=60, tolerance=1e-12)
    assert found.place[:, 0] == pytest.approx(np.zeros(3), abs=1e-5)
    assert found.converged.all()
