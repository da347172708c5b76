"""Priors of parameters as maps from a standard normal variable z, and the friction laws that a fit compares.

Fits and draws work in y. For a positive quantity with a normal prior, y is linear in the quantity's logarithm; for all
others y is z. The reason: throws determine stiffness × friction / mass best. Their likelihood has a ridge along equal
values of it, which is straight in logarithms and curved in z.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Protocol, Self

import numpy as np

from stager.model.arrays import Floats, Number
from stager.model.launcher import FrictionLaw, Launcher, Scenario, Uncertain
from stager.physics.friction import Bell, Constant, Falling, Formula, Rising, Tabulated
from stager.physics.friction import Law as Record

GREATEST_Z = 8.0
"""Greatest |z| [-]: beyond it, normal probabilities are rounding errors."""
OPEN_END = 1e-9
"""Relative distance kept from the ends of a range [-], which may not belong to it."""
GREATEST_RATE = 0.2
"""Greatest rate of y [-]: y reaches down to z = −1/rate, five standard deviations."""


class Prior(Protocol):
    """Prior of one parameter."""

    @property
    def key(self) -> str:
        """Dotted place of the parameter in the configuration."""
        ...

    @property
    def rate(self) -> float:
        """Slope of the logarithm of the quantity by y [-]; 0: y is z."""
        ...

    def value(self, z: Floats) -> Floats:
        """Return SI values at z, of equal shape."""
        ...


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal distribution, truncated to [low, high]; all in SI."""

    key: str
    centre: float
    spread: float
    low: float = -np.inf
    high: float = np.inf

    @property
    def rate(self) -> float:
        """Relative standard deviation of a positive quantity [-], at most GREATEST_RATE; else 0."""
        return min(self.spread / self.centre, GREATEST_RATE) if self.low >= 0 and self.centre > 0 else 0.0

    def value(self, z: Floats) -> Floats:
        """Return quantiles of the truncated normal distribution at Φ(z), in SI."""
        from scipy.special import ndtr, ndtri

        ends = np.array([self.low - self.centre, self.high - self.centre]) / self.spread
        z = np.clip(z, -GREATEST_Z, GREATEST_Z)
        if ends[0] > -GREATEST_Z or ends[1] < GREATEST_Z:
            below, above = ndtr(ends)
            # The upper tail by symmetry, because a probability near 1 has too few digits.
            lower = ndtri(below + (above - below) * ndtr(z))
            upper = -ndtri(ndtr(-ends[1]) + (above - below) * ndtr(-z))
            z = np.where(z < 0, lower, upper)
        return np.asarray(np.clip(self.centre + self.spread * z, *_inside(self.low, self.high)))


@dataclass(frozen=True, slots=True)
class Rectangular:
    """Uniform distribution between low and high; all in SI."""

    key: str
    low: float
    high: float
    rate: float = 0.0

    def value(self, z: Floats) -> Floats:
        """Return quantiles of the uniform distribution at Φ(z), in SI."""
        from scipy.special import ndtr

        return np.asarray(self.low + (self.high - self.low) * ndtr(np.clip(z, -GREATEST_Z, GREATEST_Z)))


@dataclass(frozen=True, slots=True)
class LogNormal:
    """Lognormal distribution, of a quantity known up to a factor.

    median: in SI; spread: standard deviation of the logarithm [-].
    """

    key: str
    median: float
    spread: float
    rate: float = 0.0

    def value(self, z: Floats) -> Floats:
        """Return median · exp(spread · z), in SI."""
        return np.asarray(self.median * np.exp(self.spread * np.clip(z, -GREATEST_Z, GREATEST_Z)))


def of(uncertain: Uncertain) -> Prior:
    """Return the prior that a configuration's uncertainty stands for."""
    if uncertain.rectangular:
        half = np.sqrt(3) * uncertain.standard_uncertainty
        low, high = max(uncertain.low, uncertain.value - half), min(uncertain.high, uncertain.value + half)
        return Rectangular(uncertain.key, low, high)
    return Normal(uncertain.key, uncertain.value, uncertain.standard_uncertainty, uncertain.low, uncertain.high)


@dataclass(frozen=True, slots=True)
class Bend:
    """Map from y to z, 1 + rate·z = exp(rate·y), with the rates of the parameters, (p,)."""

    rates: Floats

    def __call__(self, y: Floats) -> tuple[Floats, Floats]:
        """Return z and dz/dy at y (..., p), both of that shape."""
        # The end of an interval may be infinite.
        turned = np.exp(np.clip(self.rates * np.clip(y, -1e6, 1e6), -50.0, 50.0))
        bent = self.rates > 0
        return np.where(bent, (turned - 1) / np.where(bent, self.rates, 1.0), y), turned


def bend(priors: tuple[Prior, ...]) -> Bend:
    """Return the map from y to z for `priors`."""
    return Bend(np.array([prior.rate for prior in priors]))


def values(priors: tuple[Prior, ...], z: Floats) -> dict[str, Floats]:
    """Return SI values by key at z (..., p), each of shape (...)."""
    return {prior.key: prior.value(z[..., k]) for k, prior in enumerate(priors)}


def _inside(low: float, high: float) -> tuple[float, float]:
    """Return ends a little inside [low, high], because a range such as "above 0" does not contain its end."""
    return (
        low + OPEN_END * max(abs(low), 1e-6) if np.isfinite(low) else low,
        high - OPEN_END * max(abs(high), 1e-6) if np.isfinite(high) else high,
    )


FRICTION = "contact.friction."
DRIFT = "session.drift"
"""Key of the change of ln friction from the first to the last throw: a parameter of the session, not the launcher."""

SLIP_SPEEDS = np.geomspace(0.05, 30.0, 60)
"""Slip speeds at which the configured law gives the level of the other laws [m/s]."""
WIDE = 0.5
"""Standard deviation of the logarithm of a coefficient that is hardly known [-]; an assumption."""
KNOTS = np.concatenate([[0.0], np.geomspace(1e-3, 300.0, 90)])
"""Slip speeds at which laws of different kinds are sampled [m/s]."""

Values = Mapping[str, Number]
"""SI values by key."""
Builder = Callable[[Values], FrictionLaw]
"""From SI values by key to a friction law."""


@dataclass(frozen=True, slots=True)
class Sampled(Record):
    """Friction laws of different kinds in the lanes of one batch, each interpolated between many of its points.

    slip: slip speeds [m/s]; value, slope: coefficients [-] and their slopes [s/m] there, each an array over the batch.
    The error is about 1e-5 of a smooth law.
    """

    name: ClassVar[str] = "averaged"
    source: ClassVar[str] = "the laws that it samples"
    formulas: ClassVar[tuple[Formula, ...]] = Tabulated.formulas
    slip: tuple[float, ...]
    value: tuple[Number, ...]
    slope: tuple[Number, ...]

    @classmethod
    def of(cls, laws: Sequence[FrictionLaw], lanes: Sequence[int]) -> Sampled:
        """Return `laws`, each with parameters that are floats or arrays over so many `lanes`, one after the other."""
        found = [law.coefficient(KNOTS[:, None]) for law in laws]
        value, slope = (
            np.concatenate([np.broadcast_to(one[k], (KNOTS.size, n)) for one, n in zip(found, lanes, strict=True)], 1)
            for k in (0, 1)
        )
        return cls(tuple(KNOTS.tolist()), tuple(value), tuple(slope))

    def values(self) -> tuple[Number, ...]:
        """Return the points as the kernel's curve takes them."""
        return (float(len(self.slip)), *self.slip, *self.value, *self.slope)

    def coefficient(self, slip: Floats, *, with_slope: bool = True) -> tuple[Floats, Floats]:
        """Return coefficient [-] and slope [s/m] at slips [m/s] whose last axis is over the batch, or has length 1."""
        value, slope = np.stack(np.broadcast_arrays(*self.value)), np.stack(np.broadcast_arrays(*self.slope))
        held = np.clip(slip, self.slip[0], self.slip[-1])
        places = np.broadcast_to(held, (*held.shape[:-1], value.shape[1]))
        knots, lanes = np.asarray(self.slip), np.arange(value.shape[1])
        row = np.clip(np.searchsorted(knots, places, side="right") - 1, 0, knots.size - 2)
        width = knots[row + 1] - knots[row]
        share = (places - knots[row]) / width
        low, high, rise = value[row, lanes], value[row + 1, lanes], slope[row, lanes]
        # Cubic Hermite polynomial, low + share * (first + share * (second + share * third)).
        first, gain = width * rise, high - low
        second = 3 * gain - 2 * first - width * slope[row + 1, lanes]
        third = first + width * slope[row + 1, lanes] - 2 * gain
        found = low + share * (first + share * (second + share * third))
        return found, (first + share * (2 * second + 3 * share * third)) / width

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] up to `slip` [m/s], by the points."""
        knots = np.asarray(self.slip).reshape(-1, *(1,) * np.ndim(slip))
        values = np.stack(np.broadcast_arrays(*self.value)).reshape(len(self.slip), *(1,) * (np.ndim(slip) - 1), -1)
        reached = np.where(knots <= slip, values, 0.0).max(axis=0)
        return np.asarray(np.maximum(reached, self.coefficient(slip)[0]))

    def scaled(self, factor: Number) -> Self:
        """Return the same laws with all coefficients times `factor` [-]."""
        value, slope = (tuple(item * factor for item in part) for part in (self.value, self.slope))
        return replace(self, value=value, slope=slope)


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateLaw:
    """A friction law that a fit may choose.

    name: of the law
    priors: of its parameters
    build: makes the law from SI values; None: the configuration's own law
    level: key of the coefficient that scales it; "" where there is none
    """

    name: str
    priors: tuple[Prior, ...]
    build: Builder | None
    level: str

    def launcher(self, scenario: Scenario, known: Values) -> Launcher:
        """Return the launcher with `known` SI values and this law in its contact; a drift is ignored."""
        known = {key: value for key, value in known.items() if key != DRIFT}
        if self.build is None:
            return scenario.realise(known)
        own = {prior.key for prior in self.priors}
        launcher = scenario.realise({key: value for key, value in known.items() if key not in own})
        return with_friction(launcher, self.build({**values(self.priors, np.zeros(len(self.priors))), **known}))


def with_friction(launcher: Launcher, law: FrictionLaw) -> Launcher:
    """Return the launcher with another friction law of its wheels, and of its rail where that shares their law."""
    contact = launcher.contact
    shared = contact.rail_friction is contact.friction
    rail = law if shared else contact.rail_friction
    return replace(launcher, contact=replace(contact, friction=law, rail_friction=rail))


def own_law(scenario: Scenario) -> CandidateLaw:
    """Return the configuration's law with priors from the uncertainties stated there."""
    law = scenario.launcher.contact.friction
    priors = tuple(of(item) for item in scenario.uncertain if item.key.startswith(FRICTION))
    level = _LEVELS.get(law.name, "")
    return CandidateLaw(name=law.name, priors=priors, build=None, level=level)


def candidates(scenario: Scenario) -> tuple[CandidateLaw, ...]:
    """Return the configuration's law, then the other laws with wide priors about its coefficients."""
    own = own_law(scenario)
    configured = scenario.launcher.contact.friction.coefficient(SLIP_SPEEDS)[0]
    level, mean = float(np.max(configured)), float(np.mean(configured))
    if level <= 0:
        return (own,)
    others = [
        CandidateLaw(
            name="constant",
            priors=_law_priors({"coefficient": (mean, WIDE)}),
            build=_constant,
            level=_LEVELS["constant"],
        ),
        CandidateLaw(
            name="falling",
            priors=_law_priors({"static": (level, 0.3), "sliding": (0.4 * level, WIDE), "fade_speed": (8.0, 0.7)}),
            build=_falling, level=_LEVELS["falling"],
        ),
        CandidateLaw(
            name="bell",
            priors=_law_priors({"peak": (level, 0.3), "peak_speed": (1.0, 0.8), "width": (2.2, 0.4)}),
            build=_bell, level=_LEVELS["bell"],
        ),
        CandidateLaw(
            name="rising",
            priors=_law_priors({"static": (0.7 * level, 0.4), "sliding": (1.3 * level, 0.4), "rise_speed": (5.0, 0.8)}),
            build=_rising, level=_LEVELS["rising"],
        ),
    ]  # fmt: skip
    return (own, *(law for law in others if law.name != own.name))


_LEVELS = {
    "constant": FRICTION + "coefficient", "falling": FRICTION + "static", "bell": FRICTION + "peak",
    "rising": FRICTION + "static",
}  # fmt: skip
"""Key of the coefficient that scales each law, by name."""


def _law_priors(known: Mapping[str, tuple[float, float]]) -> tuple[Prior, ...]:
    """Return lognormal priors from medians, in SI, and standard deviations of the logarithm [-], by parameter."""
    return tuple(LogNormal(FRICTION + name, median, spread) for name, (median, spread) in known.items())


def _constant(known: Values) -> FrictionLaw:
    return Constant(known[FRICTION + "coefficient"])


def _falling(known: Values) -> FrictionLaw:
    return Falling(known[FRICTION + "static"], known[FRICTION + "sliding"], known[FRICTION + "fade_speed"])


def _bell(known: Values) -> FrictionLaw:
    return Bell(known[FRICTION + "peak"], known[FRICTION + "peak_speed"], known[FRICTION + "width"])


def _rising(known: Values) -> FrictionLaw:
    return Rising(known[FRICTION + "static"], known[FRICTION + "sliding"], known[FRICTION + "rise_speed"])
