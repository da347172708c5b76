"""Find single changes of a launcher that explain why a build throws differently, or why a model does not fit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.likelihood import SLOWEST, ForwardModel, Residuals
from stager.fit.optimiser import ITERATIONS, STEP, TOLERANCE, BestFit
from stager.fit.priors import LogNormal, bend, values
from stager.fit.statistics.hypothesis_tests import aicc, two_groups_test
from stager.fit.statistics.least_squares import LeastSquares, Minimum, minimise
from stager.fit.table.throws import Throws, moments
from stager.model.arrays import Floats, Number
from stager.model.launcher import Contact, Launcher, Measuring, Outlet
from stager.model.stage import Stage

Change = Callable[[Launcher, Number], Launcher]
"""From a launcher and a factor to the changed launcher."""
TYPICAL = 0.1
"""Relative change of a quantity whose uncertainty is not stated [-]; an assumption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Perturbation:
    """One quantity of a launcher, or of its instruments, that a factor changes.

    name: for the code and JSON
    words: its name in a sentence
    change: from a launcher and a factor to the changed launcher
    there: whether a launcher has the quantity
    keys: places in the configuration whose uncertainty it represents
    whole: whether it may differ from build to build
    """

    name: str
    words: str
    change: Change
    there: Callable[[Launcher], bool]
    keys: tuple[str, ...]
    whole: bool = True


def _contact(change: Callable[[Contact, Number], Contact]) -> Change:
    return lambda launcher, factor: replace(launcher, contact=change(launcher.contact, factor))


def _friction(contact: Contact, factor: Number) -> Contact:
    shared = contact.rail_friction is contact.friction
    scaled = contact.friction.scaled(factor)
    return replace(contact, friction=scaled, rail_friction=scaled if shared else contact.rail_friction)


def _field(name: str) -> Callable[[Contact, Number], Contact]:
    """Return a change of one parameter of the wheel's friction law."""

    def change(contact: Contact, factor: Number) -> Contact:
        shared = contact.rail_friction is contact.friction
        law = replace(contact.friction, **{name: getattr(contact.friction, name) * factor})  # type: ignore[type-var]
        return replace(contact, friction=law, rail_friction=law if shared else contact.rail_friction)

    return change


def _has_field(name: str) -> Callable[[Launcher], bool]:
    return lambda launcher: name in {field.name for field in fields(launcher.contact.friction)}  # type: ignore[arg-type]


def _stages(change: Callable[[Stage, Number], Stage]) -> Change:
    def all_of(launcher: Launcher, factor: Number) -> Launcher:
        template = change(launcher.template, factor)
        return replace(launcher, template=template, stages=tuple(change(stage, factor) for stage in launcher.stages))

    return all_of


def _softer_tyre(stage: Stage, factor: Number) -> Stage:
    """Return a stage whose tyre grows more, with its modulus divided by the factor."""
    tyre = stage.wheel.tyre
    if tyre is None:
        return stage
    material = replace(tyre.material, modulus=tyre.material.modulus / factor)
    return replace(stage, wheel=replace(stage.wheel, tyre=replace(tyre, material=material)))


def _voltage(launcher: Launcher, factor: Number) -> Launcher:
    supply = launcher.supply
    return launcher if supply is None else replace(launcher, supply=replace(supply, voltage=supply.voltage * factor))


def _outlet(launcher: Launcher, factor: Number) -> Launcher:
    outlet = launcher.outlet
    return launcher if outlet is None else replace(launcher, outlet=replace(outlet, loss=outlet.loss * factor))


def _measuring(name: str) -> Change:
    """Return a change of one correction factor of the instruments."""

    def change(launcher: Launcher, factor: Number) -> Launcher:
        measuring = Measuring() if launcher.measuring is None else launcher.measuring
        return replace(launcher, measuring=replace(measuring, **{name: getattr(measuring, name) * factor}))

    return change


def _always(launcher: Launcher) -> bool:
    return True


def _has_rail(launcher: Launcher) -> bool:
    """Whether the launcher has a rail whose friction law is not that of the wheels."""
    own = launcher.contact.rail_friction is not launcher.contact.friction
    return own and not launcher.template.layout.side_b_turns


def _has_tyre(launcher: Launcher) -> bool:
    return launcher.template.wheel.tyre is not None


_FRICTION = "contact.friction."
# Changes of one parameter of the friction law come first, because `friction` replaces the law by a scaled one.
PERTURBATIONS = (
    Perturbation(
        name="fade", words="fade speed", there=_has_field("fade_speed"), change=_contact(_field("fade_speed")),
        keys=(_FRICTION + "fade_speed",), whole=False,
    ),
    Perturbation(
        name="sliding", words="sliding friction", there=_has_field("sliding"), change=_contact(_field("sliding")),
        keys=(_FRICTION + "sliding",), whole=False,
    ),
    Perturbation(
        name="stiffness", words="stiffness of the contact", there=_always, keys=("contact.stiffness",),
        change=_contact(lambda c, f: replace(c, stiffness=c.stiffness * f)),
    ),
    Perturbation(
        name="friction", words="friction", there=_always, change=_contact(_friction),
        keys=tuple(_FRICTION + name for name in ("coefficient", "static", "peak")),
    ),
    Perturbation(
        name="crush", words="crush", there=_always, keys=("stage.crush",),
        change=_stages(lambda s, f: replace(s, crush=s.crush * f)),
    ),
    Perturbation(
        name="feed", words="feed speed", there=_always, keys=("feed.speed",),
        change=lambda launcher, f: replace(launcher, feed=replace(launcher.feed, speed=launcher.feed.speed * f)),
    ),
    Perturbation(
        name="mass", words="mass of the projectile", there=_always, keys=("projectile.mass",),
        change=lambda launcher, f: replace(
            launcher, projectile=replace(launcher.projectile, mass=launcher.projectile.mass * f)
        ),
    ),
    Perturbation(
        name="supply", words="voltage of the supply", keys=("supply.voltage",), change=_voltage,
        there=lambda launcher: launcher.supply is not None,
    ),
    Perturbation(
        name="rebound", words="rebound", there=_always, keys=("contact.rebound",),
        change=_contact(lambda c, f: replace(c, rebound=np.minimum(c.rebound / f, 1.0))), whole=False,
    ),
    Perturbation(
        name="exponent", words="exponent of the contact", there=_always, keys=("contact.exponent",), whole=False,
        change=_contact(lambda c, f: replace(c, exponent=c.exponent * f)),
    ),
    Perturbation(
        name="growth", words="growth of the tyre", there=_has_tyre, change=_stages(_softer_tyre), whole=False,
        keys=("stage.wheel.tyre.modulus", "stage.wheel.tyre.hardness"),
    ),
    Perturbation(
        name="creep", words="creep speed", there=_always, keys=("contact.creep",), whole=False,
        change=_contact(lambda c, f: replace(c, creep=c.creep * f)),
    ),
    Perturbation(
        name="outlet", words="energy that the outlet takes", keys=("outlet.loss",), whole=False,
        there=lambda launcher: launcher.outlet is not None, change=_outlet,
    ),
    Perturbation(
        name="radius", words="radius of the wheels", there=_always, keys=("stage.wheel.radius",), whole=False,
        change=_stages(lambda s, f: replace(s, wheel=replace(s.wheel, radius=s.wheel.radius * f))),
    ),
    Perturbation(
        name="tachometer", words="true over indicated wheel speed", there=_always, whole=False,
        keys=("measuring.wheel_speed",), change=_measuring("wheel_speed"),
    ),
    Perturbation(
        name="chronograph", words="true over indicated exit speed", there=_always, whole=False,
        keys=("measuring.exit_speed",), change=_measuring("exit_speed"),
    ),
    Perturbation(
        name="rail", words="friction of the rail", there=_has_rail, whole=False,
        keys=tuple("contact.rail_friction." + name for name in ("coefficient", "static", "peak")),
        change=_contact(lambda c, f: replace(c, rail_friction=c.rail_friction.scaled(f))),
    ),
)  # fmt: skip


FACTOR_SPREAD = 0.4
"""Prior standard deviation of the logarithm of a factor [-]; an assumption."""

TIE = 4.0
"""Distance in AICc within which explanations do about equally well [-]: relative likelihood exp(−2), one in seven."""

UNIT_SPREAD = 1.5
"""The same where a unit may be wrong [-]: km/h read as m/s is a factor exp(1.3)."""

LEAST_GAIN = 6.0
"""Least improvement of AICc by an explanation of a misfit [-]."""

FACTOR_STARTS = np.array([0.0, 0.3, -0.3, -0.9, 0.9])
"""Starts of the standardised logarithm of the factor [-]."""
GROUP_LEVEL = 0.05
"""Significance level at which residuals form two groups [-]."""
LEAST_BEFORE_STEP = 3
"""Throws on either side of a step of exit speed."""
LEAST_EFFECT = 0.5
"""Change of a residual by one standard deviation of a factor, over the scatter, that an explanation needs [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A change of one quantity in some of the throws, as an explanation.

    name, words: of the perturbation
    factor: on the quantity [-]
    interval: its 95 % interval [-]
    aicc: of the fit with the change, to the throws that did not jam
    gain: improvement of AICc over the fit without it to the same throws
    wild: number of throws that are outliers all the same
    since: `order` of the first changed throw, for a step; else None
    """

    name: str
    words: str
    factor: float
    interval: tuple[float, float]
    aicc: float
    gain: float
    wild: int
    since: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Changed:
    """Residuals of all throws with a perturbation in some of them; the last component of y is its factor."""

    found: BestFit
    parts: tuple[tuple[NDArray[np.intp], ForwardModel, bool], ...]
    perturbation: Perturbation
    measured: Floats
    factor: LogNormal

    def __call__(self, y: Floats) -> Floats:
        out = np.empty((y.shape[0], self.measured.size))
        z, _ = bend(self.found.priors)(y[:, :-1])
        lanes = {key: value[:, None] for key, value in values(self.found.priors, z).items()}
        launcher = self.found.law.launcher(self.found.model.scenario, lanes)
        for rows, where, changed in self.parts:
            here = self.perturbation.change(launcher, self.factor.value(y[:, -1])[:, None]) if changed else launcher
            found = where.exit_speed_of(where.drifted(here, lanes))
            floor = SLOWEST * self.measured[rows]
            out[:, rows] = np.log(self.measured[rows]) - np.log(np.maximum(found, floor))
        return out


def explain(found: BestFit, throws: Throws, second: NDArray[np.bool_]) -> tuple[tuple[Hypothesis, ...], int]:
    """Return explanations of what differs in the throws `second`, best first, and how many do as well within TIE.

    Either build may be the one that is as configured: of a change in the one and a change in the other, the better one.
    """
    launcher = found.model.scenario.launcher
    throttled = any(wheel.reading.asks_supply for wheel in throws.wheels)
    perturbations = [
        perturbation
        for perturbation in PERTURBATIONS
        if perturbation.whole and perturbation.there(launcher) and (throttled or perturbation.name != "supply")
    ]
    plain = _unchanged(found, throws)
    both = [[_explanation(found, throws, rows, one, plain) for one in perturbations] for rows in (second, ~second)]
    tried = [(one, None if other is None else _inverse(other)) for one, other in zip(*both, strict=True)]
    best = [min((one for one in pair if one is not None), key=lambda one: one.aicc, default=None) for pair in tried]
    done = sorted((one for one in best if one is not None), key=lambda one: one.aicc)
    return tuple(done), sum(one.aicc - done[0].aicc < TIE for one in done)


def _inverse(one: Hypothesis) -> Hypothesis:
    """Return the change of the other throws as a change of these."""
    low, high = one.interval
    return replace(one, factor=1 / one.factor, interval=(1 / high, 1 / low))


def causes(found: BestFit, throws: Throws, rng: np.random.Generator) -> tuple[Hypothesis, ...]:
    """Return single changes that would make a model fit that does not, best first.

    Parameters
    ----------
    found : BestFit
        A fit that does not describe `throws`.
    throws : Throws
        The fitted throws, without jams.
    rng : Generator

    Returns
    -------
    tuple of Hypothesis
        Only those that improve AICc by more than LEAST_GAIN. `name` is a perturbation's, "step" where exit speeds read
        differently from some throw on (only if the order is known), "kinds" where some projectiles are heavier than
        others.
    """
    launcher = found.model.scenario.launcher
    everything = np.ones(found.count, dtype=bool)
    known = {one.name: one for one in PERTURBATIONS}
    carried = 0.02 * float(np.mean(throws.exit_speed**2)) * float(np.mean(launcher.projectile.mass)) / 2
    plain = _unchanged(found, throws)
    changes = [known["chronograph"], known["tachometer"], known["creep"], _outlet_loss(carried)]
    if known["growth"].there(launcher):
        changes.append(known["growth"])
    tried = [_explanation(found, throws, everything, change, plain, spread=UNIT_SPREAD) for change in changes]
    when = moments(throws)
    later = None if when is None else _after_step(found.residuals, when)
    if when is not None and later is not None:
        step = _explanation(found, throws, later, known["chronograph"], plain, spread=UNIT_SPREAD)
        tried.append(None if step is None else _step(step, float(throws.order[later][when[later].argmin()])))
    chance, which = two_groups_test(found.standardised, rng)
    if chance < GROUP_LEVEL:
        kinds = _explanation(found, throws, which > 0, known["mass"], plain, spread=FACTOR_SPREAD)
        tried.append(None if kinds is None else replace(kinds, name="kinds", words="mass of some projectiles"))
    done = [one for one in tried if one is not None and one.gain > LEAST_GAIN]
    return tuple(sorted(done, key=lambda one: one.aicc))


def _step(one: Hypothesis, since: float) -> Hypothesis:
    """Return the explanation of a step of exit speed, from that of an indicated exit speed."""
    return replace(one, name="step", words="exit speed from some throw on", since=since)


def _outlet_loss(loss: float) -> Perturbation:
    """Return a perturbation of an outlet that takes a multiple of `loss` [J] more, whether or not there is one yet."""

    def change(launcher: Launcher, factor: Number) -> Launcher:
        outlet = Outlet() if launcher.outlet is None else launcher.outlet
        return replace(launcher, outlet=replace(outlet, loss=outlet.loss + loss * factor))

    words = "energy that the outlet takes"
    return Perturbation(name="outlet", words=words, change=change, there=lambda launcher: True, keys=())


def _after_step(residuals: Floats, order: Floats) -> NDArray[np.bool_] | None:
    """Return which throws, (n,), came after the step that explains most of the residuals; None with too few throws.

    The step maximises the sum of squares between the throws before and after it, as a regression tree's split does.
    """
    ranks = np.argsort(np.argsort(order, kind="stable"), kind="stable")
    ordered = residuals[np.argsort(order, kind="stable")]
    sizes = np.arange(1, residuals.size)
    sums = np.cumsum(ordered - ordered.mean())[:-1]
    gain = sums**2 * residuals.size / (sizes * (residuals.size - sizes))
    inside = (sizes >= LEAST_BEFORE_STEP) & (residuals.size - sizes >= LEAST_BEFORE_STEP)
    if not inside.any():
        return None
    return np.asarray(ranks > int(np.argmax(np.where(inside, gain, -1.0))))


def _unchanged(found: BestFit, throws: Throws) -> float:
    """Return AICc of the fit without a change to the throws that did not jam, as explanations are fitted to these."""
    where = found.model.part(throws, np.ones(found.count, dtype=bool))
    residuals = Residuals(model=where, priors=found.priors, measured=throws.exit_speed)
    problem = replace(found.problem, residuals=residuals, loss=found.noise)
    minimum = minimise(problem, found.place[None], iterations=ITERATIONS, tolerance=TOLERANCE, adapt=True)
    return _score(problem, minimum)


def _score(problem: LeastSquares, minimum: Minimum) -> float:
    """Return AICc of the best minimum; the size of the scatter counts as a parameter, as in BestFit.aicc."""
    best = minimum.best
    away, slope = problem.prior(minimum.place[best])
    loss = float(minimum.objective[best] - 0.5 * (away**2).sum())
    spent = float(slope.size - (np.diagonal(np.linalg.inv(minimum.curvature[best])) * slope**2).sum())
    return aicc(loss, spent + 1, minimum.residuals.shape[1])


def _explanation(
    found: BestFit,
    throws: Throws,
    second: NDArray[np.bool_],
    perturbation: Perturbation,
    plain: float,
    *,
    spread: float = FACTOR_SPREAD,
) -> Hypothesis | None:
    """Return the fit with a perturbation of the throws `second`; None where it has hardly any effect.

    plain: AICc of the fit without it; spread: prior standard deviation of the logarithm of the factor [-].
    """
    factor = LogNormal(perturbation.name, 1.0, spread)
    parts = tuple(
        (np.flatnonzero(mask), found.model.part(throws, mask), changed)
        for mask, changed in ((~second, False), (second, True))
        if mask.any()
    )
    changed = _Changed(found=found, parts=parts, perturbation=perturbation, measured=throws.exit_speed, factor=factor)
    size = len(found.priors) + 1
    problem = LeastSquares(
        residuals=changed, loss=found.noise, step=np.full(size, STEP), prior=bend((*found.priors, factor))
    )  # fmt: skip
    start = np.append(found.place, 0.0)
    nudged = problem.value(np.stack([start, start + np.eye(size)[-1]]))[1]
    if np.abs(nudged[1] - nudged[0]).max() < LEAST_EFFECT * found.scatter:
        return None
    minimum = minimise(
        problem, start + FACTOR_STARTS[:, None] * np.eye(size)[-1],
        iterations=ITERATIONS, tolerance=TOLERANCE, adapt=True,
    )  # fmt: skip
    best = minimum.best
    place, covariance = minimum.place[best], np.linalg.inv(minimum.curvature[best])
    reach = 1.96 * float(np.sqrt(covariance[-1, -1]))
    score = _score(problem, minimum)
    return Hypothesis(
        name=perturbation.name, words=perturbation.words, factor=float(factor.value(place[-1])),
        interval=(float(factor.value(place[-1] - reach)), float(factor.value(place[-1] + reach))),
        aicc=score, gain=plain - score,
        wild=int((found.noise.outlier_probability(minimum.residuals[best]) > 0.5).sum()),
    )  # fmt: skip
