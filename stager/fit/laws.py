"""Friction laws that data can choose between."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from stager.fit.priors import LogNormal, Prior, of, values
from stager.model.arrays import Number
from stager.model.contact import FrictionLaw
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.physics.friction import Bell, Constant, Falling, Rising

FRICTION = "contact.friction."
SLIPS = np.geomspace(0.05, 30.0, 60)
WIDE = 0.5

Values = Mapping[str, Number]
Builder = Callable[[Values], FrictionLaw]


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """A friction law under test: its name, the priors of what is not known, and its builder (None: the configuration's
    own law, as it stands there). level: key of the coefficient that scales it, "" where there is none."""

    name: str
    priors: tuple[Prior, ...]
    build: Builder | None
    level: str

    def launcher(self, scenario: Scenario, known: Values) -> Launcher:
        """The launcher with `known` values (SI) in place and this law in its contact."""
        if self.build is None:
            return scenario.realise(known)
        own = {prior.key for prior in self.priors}
        launcher = scenario.realise({key: value for key, value in known.items() if key not in own})
        contact = launcher.contact
        friction = self.build({**values(self.priors, np.zeros(len(self.priors))), **known})
        shared = contact.rail_friction is contact.friction
        return replace(
            launcher,
            contact=replace(contact, friction=friction, rail_friction=friction if shared else contact.rail_friction),
        )


def own_law(scenario: Scenario) -> Law:
    """The configuration's law with the uncertainties it has there."""
    friction = scenario.launcher.contact.friction
    priors = tuple(of(item) for item in scenario.uncertain if item.key.startswith(FRICTION))
    level = _LEVELS.get(friction.name, "")
    return Law(name=friction.name, priors=priors, build=None, level=level)


def candidates(scenario: Scenario) -> tuple[Law, ...]:
    """The configuration's law first, then the others with wide priors about its coefficient at small slip."""
    own = own_law(scenario)
    friction = scenario.launcher.contact.friction
    level = float(np.max(friction.coefficient(SLIPS)[0]))
    mean = float(np.mean(friction.coefficient(SLIPS)[0]))
    if level <= 0:
        return (own,)
    others = [
        Law(name="constant", priors=_priors({"coefficient": (mean, WIDE)}), build=_constant, level=_LEVELS["constant"]),
        Law(
            name="falling",
            priors=_priors({"static": (level, 0.3), "sliding": (0.4 * level, WIDE), "fade_speed": (8.0, 0.7)}),
            build=_falling, level=_LEVELS["falling"],
        ),
        Law(
            name="bell",
            priors=_priors({"peak": (level, 0.3), "peak_speed": (1.0, 0.8), "width": (2.2, 0.4)}),
            build=_bell, level=_LEVELS["bell"],
        ),
        Law(
            name="rising",
            priors=_priors({"static": (0.7 * level, 0.4), "sliding": (1.3 * level, 0.4), "rise_speed": (5.0, 0.8)}),
            build=_rising, level=_LEVELS["rising"],
        ),
    ]  # fmt: skip
    return (own, *(law for law in others if law.name != own.name))


_LEVELS = {
    "constant": FRICTION + "coefficient", "falling": FRICTION + "static", "bell": FRICTION + "peak",
    "rising": FRICTION + "static",
}  # fmt: skip


def _priors(known: Mapping[str, tuple[float, float]]) -> tuple[Prior, ...]:
    return tuple(LogNormal(FRICTION + name, median, spread) for name, (median, spread) in known.items())


def _constant(known: Values) -> FrictionLaw:
    return Constant(known[FRICTION + "coefficient"])


def _falling(known: Values) -> FrictionLaw:
    return Falling(known[FRICTION + "static"], known[FRICTION + "sliding"], known[FRICTION + "fade_speed"])


def _bell(known: Values) -> FrictionLaw:
    return Bell(known[FRICTION + "peak"], known[FRICTION + "peak_speed"], known[FRICTION + "width"])


def _rising(known: Values) -> FrictionLaw:
    return Rising(known[FRICTION + "static"], known[FRICTION + "sliding"], known[FRICTION + "rise_speed"])
