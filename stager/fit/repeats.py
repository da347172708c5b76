"""Repeatability from throws at equal settings."""

from __future__ import annotations

import numpy as np

from stager.fit.records import Repeats
from stager.fit.search import Found
from stager.fit.table.record import Throws
from stager.model.arrays import Floats

ENOUGH = 4


def repeats(throws: Throws, found: Found) -> Repeats | None:
    """Relative standard deviation of throws at one setting; None without repeats. Likely outliers are left out here.

    lack_of_fit: F test of what the fit leaves between settings against it.
    """
    good = found.wildness < 0.5
    logs, setting, left = np.log(throws.exit_speed[good]), throws.settings[good], found.residuals[good]
    within, freedom = _within(logs, setting)
    if freedom < 1:
        return None
    deviation = float(np.sqrt(within / freedom))
    settings = np.unique(setting).size
    between = float((left**2).sum()) - _within(left, setting)[0]
    spare = settings - found.spent
    if freedom < ENOUGH or spare < 1 or deviation == 0:
        return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=None)
    from scipy.special import fdtrc

    ratio = between / spare / deviation**2
    return Repeats(deviation=deviation, freedom=freedom, lack_of_fit=float(fdtrc(spare, freedom, max(ratio, 0.0))))


def _within(values: Floats, setting: np.ndarray[tuple[int, ...], np.dtype[np.intp]]) -> tuple[float, int]:
    """Sum of squares about the settings' means, and its degrees of freedom."""
    names, which, counts = np.unique(setting, return_inverse=True, return_counts=True)
    means = np.bincount(which, weights=values, minlength=names.size) / counts
    return float(((values - means[which]) ** 2).sum()), int(values.size - names.size)
