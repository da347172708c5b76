"""What commands are answered with."""

from __future__ import annotations

from dataclasses import dataclass

from stager.constraints.recommend import Recommended
from stager.fit.compare import Compared
from stager.fit.drift import Drift
from stager.fit.prediction import Predicted
from stager.fit.records import Fit


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """A fit, the stages it foretells, the drift of each build, and recommended wheel speeds, stage by stage."""

    fit: Fit
    predicted: tuple[Predicted, ...]
    drifts: tuple[Drift, ...]
    recommended: tuple[Recommended, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """Two builds compared, and the drift of each."""

    compared: Compared
    drifts: tuple[Drift, ...]
