"""Single changes of a launcher that explain why a build throws differently, or why a model does not fit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from stager.fit.likelihood import SLOWEST, ForwardModel
from stager.fit.optimiser import CLOSE, ITERATIONS, STEP, BestFit
from stager.fit.priors import LogNormal, bend, values
from stager.fit.statistics.hypothesis_tests import aicc, two_groups_test
from stager.fit.statistics.least_squares import Problem, minimise
from stager.fit.table.throws import Throws
from stager.model.arrays import Floats, Number
from stager.model.launcher import Contact, Launcher, Measuring, Outlet
from stager.model.stage import Stage

Change = Callable[[Launcher, Number], Launcher]
TYPICAL = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Perturbation:
    """name; words: how a sentence calls it; change(launcher, factor); there: whether this launcher has it;
    keys: places in the configuration whose uncertainty it stands for; whole: it may differ from build to build."""

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
    """Scale one number of the wheel's friction law."""

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
    """More growth: a modulus that is lower by the factor."""
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
    """Scale one factor of the instruments."""

    def change(launcher: Launcher, factor: Number) -> Launcher:
        measuring = Measuring() if launcher.measuring is None else launcher.measuring
        return replace(launcher, measuring=replace(measuring, **{name: getattr(measuring, name) * factor}))

    return change


def _always(launcher: Launcher) -> bool:
    return True


def _has_rail(launcher: Launcher) -> bool:
    """Friction of the rail is a thing of its own."""
    own = launcher.contact.rail_friction is not launcher.contact.friction
    return own and not launcher.template.layout.side_b_turns


def _has_tyre(launcher: Launcher) -> bool:
    return launcher.template.wheel.tyre is not None


_FRICTION = "contact.friction."
# Those that need the law's own numbers come first: `friction` hides them.
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


SPREAD = 0.4
"""A change is expected within a factor exp(±SPREAD)."""

ABOUT = 4.0
"""Explanations within this much of AICc do about equally well: odds of one in seven still."""

UNITS = 1.5
"""Likewise where a unit may be wrong: km/h read as m/s is a factor exp(1.3)."""

GAIN = 6.0
"""An explanation of a misfit must improve AICc by this much."""

STARTS = np.array([0.0, 0.3, -0.3, -0.9, 0.9])
GROUPS = 0.05
LEAST_APART = 3
LEAST = 0.5
"""A perturbation that its prior's spread moves less than this many scatters cannot explain anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A change of one thing in some of the throws: name, words; factor on it with its 95 % interval [-]; aicc of throws
    so explained; gain: by how much AICc is better than with no change; wild: throws that are outliers even so;
    since: `order` of the first throw that is changed, where they are those from some throw on."""

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
    """Residuals of both builds with a perturbation moved in the second; y has the perturbation's factor last."""

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
    """Explanations of what differs in the rows `second`, best first; and how many do about as well as the best."""
    launcher = found.model.scenario.launcher
    throttled = any(wheel.reading.asks_supply for wheel in throws.wheels)
    perturbations = [
        perturbation
        for perturbation in PERTURBATIONS
        if perturbation.whole and perturbation.there(launcher) and (throttled or perturbation.name != "supply")
    ]
    tried = [_explanation(found, throws, second, perturbation) for perturbation in perturbations]
    done = sorted((one for one in tried if one is not None), key=lambda one: one.aicc)
    return tuple(done), sum(one.aicc - done[0].aicc < ABOUT for one in done)


def causes(found: BestFit, throws: Throws, order: Floats, rng: np.random.Generator) -> tuple[Hypothesis, ...]:
    """Return single changes that would make a model fit that does not, best first.

    Parameters
    ----------
    found : BestFit
        A fit that does not describe `throws`.
    throws : Throws
        Those that were fitted, without jams.
    order : ndarray, shape (n,)
        When each was made, any unit.
    rng : Generator

    Returns
    -------
    tuple of Hypothesis
        Only those that improve AICc by more than GAIN. `name` is a perturbation's, "step" where exit speeds read
        differently from some throw on, "kinds" where some projectiles are heavier than others.
    """
    launcher = found.model.scenario.launcher
    everything = np.ones(found.count, dtype=bool)
    known = {one.name: one for one in PERTURBATIONS}
    carried = 0.02 * float(np.mean(throws.exit_speed**2)) * float(np.mean(launcher.projectile.mass)) / 2
    tried = [
        _explanation(found, throws, everything, known["chronograph"], spread=UNITS),
        _explanation(found, throws, everything, known["tachometer"], spread=UNITS),
        _explanation(found, throws, everything, known["creep"], spread=UNITS),
        _explanation(found, throws, everything, _lossy(carried), spread=UNITS),
    ]
    if known["growth"].there(launcher):
        tried.append(_explanation(found, throws, everything, known["growth"], spread=UNITS))
    later = _later(found.residuals, order)
    if later is not None:
        step = _explanation(found, throws, later, known["chronograph"], spread=UNITS)
        tried.append(None if step is None else _step(step, float(order[later].min())))
    chance, which = two_groups_test(found.residuals, rng)
    if chance < GROUPS:
        kinds = _explanation(found, throws, which > 0, known["mass"], spread=SPREAD)
        tried.append(None if kinds is None else replace(kinds, name="kinds", words="mass of some projectiles"))
    done = [one for one in tried if one is not None and one.gain > GAIN]
    return tuple(sorted(done, key=lambda one: one.aicc))


def _step(one: Hypothesis, since: float) -> Hypothesis:
    return replace(one, name="step", words="exit speed from some throw on", since=since)


def _lossy(loss: float) -> Perturbation:
    """An outlet that takes more or less than `loss` [J], whether the configuration has one or not."""

    def change(launcher: Launcher, factor: Number) -> Launcher:
        outlet = Outlet() if launcher.outlet is None else launcher.outlet
        return replace(launcher, outlet=replace(outlet, loss=outlet.loss + loss * factor))

    words = "energy that the outlet takes"
    return Perturbation(name="outlet", words=words, change=change, there=lambda launcher: True, keys=())


def _later(residuals: Floats, order: Floats) -> NDArray[np.bool_] | None:
    """Return which throws came after the one where residuals change most; None where too few lie on either side."""
    ranks = np.argsort(np.argsort(order, kind="stable"), kind="stable")
    ordered = residuals[np.argsort(order, kind="stable")]
    sizes = np.arange(1, residuals.size)
    sums = np.cumsum(ordered - ordered.mean())[:-1]
    gain = sums**2 * residuals.size / (sizes * (residuals.size - sizes))
    inside = (sizes >= LEAST_APART) & (residuals.size - sizes >= LEAST_APART)
    if not inside.any():
        return None
    return np.asarray(ranks > int(np.argmax(np.where(inside, gain, -1.0))))


def _explanation(
    found: BestFit, throws: Throws, second: NDArray[np.bool_], perturbation: Perturbation, *, spread: float = SPREAD
) -> Hypothesis | None:
    factor = LogNormal(perturbation.name, 1.0, spread)
    parts = tuple(
        (np.flatnonzero(mask), found.model.part(throws, mask), changed)
        for mask, changed in ((~second, False), (second, True))
        if mask.any()
    )
    changed = _Changed(found=found, parts=parts, perturbation=perturbation, measured=throws.exit_speed, factor=factor)
    size = len(found.priors) + 1
    pull = bend((*found.priors, factor))
    problem = Problem(residuals=changed, loss=found.noise, step=np.full(size, STEP), prior=pull)
    start = np.append(found.place, 0.0)
    nudged = problem.value(np.stack([start, start + np.eye(size)[-1]]))[1]
    if np.abs(nudged[1] - nudged[0]).max() < LEAST * found.scatter:
        return None
    minimum = minimise(
        problem, start + STARTS[:, None] * np.eye(size)[-1],
        iterations=ITERATIONS, tolerance=CLOSE, adapt=True,
    )  # fmt: skip
    best = minimum.best
    place, covariance = minimum.place[best], np.linalg.inv(minimum.curvature[best])
    away, slope = pull(place)
    loss = float(minimum.objective[best] - 0.5 * (away**2).sum())
    spent = float(size - (np.diagonal(covariance) * slope**2).sum())
    reach = 1.96 * float(np.sqrt(covariance[-1, -1]))
    score = aicc(loss, spent + 1, throws.exit_speed.size)
    return Hypothesis(
        name=perturbation.name, words=perturbation.words, factor=float(factor.value(place[-1])),
        interval=(float(factor.value(place[-1] - reach)), float(factor.value(place[-1] + reach))),
        aicc=score, gain=found.aicc - score,
        wild=int((found.noise.outlier_probability(minimum.residuals[best]) > 0.5).sum()),
    )  # fmt: skip
