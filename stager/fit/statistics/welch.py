"""Two samples of unequal scatter, alone or setting by setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stager.model.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A difference of means, its standard uncertainty, degrees of freedom, two-sided p value and interval."""

    value: float
    standard_uncertainty: float
    freedom: float
    probability: float
    interval: tuple[float, float]

    @property
    def t(self) -> float:
        """Value by standard uncertainty."""
        return self.value / self.standard_uncertainty


def welch(first: Floats, second: Floats, *, coverage: float = 0.95) -> Difference:
    """Mean of `first` less mean of `second`, any unit.

    Welch, Biometrika 34 (1947), with Satterthwaite's degrees of freedom. Raises ValueError below two values each.
    """
    return stratified([(first, second)], coverage=coverage)


def stratified(pairs: Sequence[tuple[Floats, Floats]], *, coverage: float = 0.95) -> Difference:
    """Mean over settings of the differences of means, first less second; one setting is Welch's test.

    Scatter of each build is taken as common to its settings, so a setting with a single throw still counts.
    Raises ValueError where a build has no setting with two throws.
    """
    value = 0.0
    variances: list[float] = []
    freedoms: list[int] = []
    for side in (0, 1):
        samples = [np.asarray(pair[side], dtype=np.float64) for pair in pairs]
        freedom = sum(sample.size - 1 for sample in samples)
        if freedom < 1:
            raise ValueError("scatter needs at least two throws at one setting")
        scatter = sum(float(((sample - sample.mean()) ** 2).sum()) for sample in samples) / freedom
        share = sum(1 / sample.size for sample in samples) / len(pairs) ** 2
        value += (1 - 2 * side) * float(np.mean([sample.mean() for sample in samples]))
        variances.append(scatter * share)
        freedoms.append(freedom)
    total = sum(variances)
    scaled = sum(v**2 / f for v, f in zip(variances, freedoms, strict=True))
    return judged(value, float(np.sqrt(total)), total**2 / scaled if total else float(sum(freedoms)), coverage)


def judged(value: float, standard_uncertainty: float, freedom: float, coverage: float = 0.95) -> Difference:
    """A value with its Student's t interval and p value against 0."""
    from scipy.special import stdtr, stdtrit

    if standard_uncertainty == 0:
        return Difference(
            value=value, standard_uncertainty=0.0, freedom=freedom, probability=float(value == 0), interval=(value,) * 2
        )
    width = float(stdtrit(freedom, 0.5 + coverage / 2)) * standard_uncertainty
    return Difference(
        value=value, standard_uncertainty=standard_uncertainty, freedom=freedom,
        probability=float(2 * stdtr(freedom, -abs(value) / standard_uncertainty)),
        interval=(value - width, value + width),
    )  # fmt: skip
