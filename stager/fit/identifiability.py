"""Find what the throws cannot determine: perturbations without effect, and pairs with nearly collinear effects."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.explanations import PERTURBATIONS, TYPICAL, Perturbation
from stager.fit.optimiser import BestFit
from stager.model.arrays import Floats
from stager.physics.chain import throw
from stager.physics.records import Grip

SEEN = 3.0
"""Strength from which a perturbation is visible in the data [standard deviations]."""
UNSEEN = 1.5
"""Strength below which it is invisible [standard deviations]."""
DISTINCT = 2.0
"""Strength, beside another perturbation, from which the two can be told apart [standard deviations]."""

PAIRS = (
    ("stiffness", "friction", 0, "only stiffness × friction / mass shows"),
    ("growth", "fade", 1, "both bend the traction as wheels turn faster"),
    ("rebound", "feed", 1, "both shift the square of the exit speed by a constant"),
    ("rebound", "outlet", 1, "both shift the square of the exit speed by a constant"),
    ("feed", "outlet", 1, "both shift the square of the exit speed by a constant"),
    ("radius", "tachometer", 1, "both scale how fast the wheel's surface goes"),
    ("tachometer", "chronograph", 2, "both scale exit speed by wheel speed"),
    ("radius", "chronograph", 2, "both scale exit speed by wheel speed"),
    ("exponent", "stiffness", 1, "at a single crush only the force itself shows"),
    ("crush", "friction", 2, "all scale what a slipping contact gives"),
    ("mass", "friction", 2, "all scale what a slipping contact gives"),
    ("crush", "stiffness", 2, "both scale the force between wheel and projectile"),
    ("mass", "crush", 2, "all scale what a slipping contact gives"),
)
"""Pairs of perturbations: both names, how many must be uncertain for the pair to matter, and why they look alike."""

SINGLES = (
    "friction",
    "fade",
    "sliding",
    "rail",
    "creep",
    "feed",
    "outlet",
    "growth",
    "radius",
    "tachometer",
    "chronograph",
)
"""Perturbations that are reported where they are invisible."""
IN_SLIP = ("friction", "fade", "sliding")
"""Those of them that matter in slip only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """Effect of one perturbation on the throws.

    perturbation: the quantity that is changed
    size: relative change [-]
    effect: change of ln exit speed, over the scatter of one throw, (n,) [-]
    known: whether the configuration states no uncertainty of it
    """

    perturbation: Perturbation
    size: float
    effect: Floats
    known: bool

    @property
    def strength(self) -> float:
        """Length of the effect [standard deviations]: how clearly all throws together show it."""
        return float(np.sqrt((self.effect**2).sum()))

    def beside(self, other: Shift) -> float:
        """Return the length of the effect's component orthogonal to that of `other` [standard deviations]."""
        if other.strength == 0:
            return self.strength
        direction = other.effect / other.strength
        return float(np.sqrt(((self.effect - direction * (direction @ self.effect)) ** 2).sum()))


def shifts(found: BestFit) -> dict[str, Shift]:
    """Return the effects of all perturbations that the launcher has at the best fit, by name; one call of the model."""
    scenario = found.model.scenario
    launcher = found.law.launcher(scenario, {key: np.asarray(value) for key, value in found.values.items()})
    perturbations = [perturbation for perturbation in PERTURBATIONS if perturbation.there(launcher)]
    sizes = [_size(found, perturbation) for perturbation in perturbations]
    for row, (perturbation, (size, _)) in enumerate(zip(perturbations, sizes, strict=True)):
        factor = np.ones((len(perturbations) + 1, 1))
        factor[row] += size
        launcher = perturbation.change(launcher, factor)
    logs = np.log(np.maximum(found.model.exit_speed_of(launcher)[:, : found.count], 1e-3))
    effects = (logs[:-1] - logs[-1]) / found.scatter
    return {
        perturbation.name: Shift(perturbation=perturbation, size=size, effect=effect, known=known)
        for perturbation, (size, known), effect in zip(perturbations, sizes, effects, strict=True)
    }


def _size(found: BestFit, perturbation: Perturbation) -> tuple[float, bool]:
    """Return the relative change to try, a prior's standard deviation or TYPICAL, and whether there is no prior."""
    for prior in (*found.priors, *found.idle):
        if prior.key in perturbation.keys:
            low, middle, high = (float(prior.value(np.array(z))) for z in (-1.0, 0.0, 1.0))
            return max((high - low) / 2 / abs(middle), 0.01) if middle else TYPICAL, False
    return TYPICAL, True


def sentences(found: BestFit) -> tuple[str, ...]:
    """Return sentences on what the throws cannot determine."""
    gripped = all_gripped(found)
    if gripped:
        said = [
            "All throws gripped: they left about as fast as their wheels, so nothing here tells the sliding friction."
            " Wheels beyond the grip limit would, as far as the limits allow them."
        ]
    else:
        said = []
    moved = shifts(found)
    free = {name for name, shift in moved.items() if not shift.known}
    unseen = [
        moved[name].perturbation.words
        for name in SINGLES
        if name in free and not (gripped and name in IN_SLIP) and moved[name].strength < UNSEEN
    ]
    if unseen:
        stays = "it stays" if len(unseen) == 1 else "they stay"
        said.append(f"The throws say nothing about the {_joined(unseen)}: {stays} at the configured value.")
    alike: dict[str, dict[str, Shift]] = {}
    for one, other, least, why in PAIRS:
        if one not in moved or other not in moved or len({one, other} & free) < least:
            continue
        a, b = moved[one], moved[other]
        if min(a.strength, b.strength) > SEEN and min(a.beside(b), b.beside(a)) < DISTINCT:
            alike.setdefault(why, {}).update({one: a, other: b})
    return (*said, *(_pair_sentence(list(group.values()), why) for why, group in alike.items()))


def _pair_sentence(group: list[Shift], why: str) -> str:
    """Return the sentence on a pair, or on several pairs that look alike for the same reason."""
    text = f"{_joined([shift.perturbation.words for shift in group])} cannot be told apart here: {why}."
    known = [shift.perturbation.words for shift in group if shift.known]
    if len(known) == 1:
        text += f" The {known[0]} is taken as the configuration gives it."
    return text[0].upper() + text[1:]


def _joined(words: list[str]) -> str:
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def all_gripped(found: BestFit) -> bool:
    """Whether every throw leaves every stage in grip, by the best fit."""
    settings = found.model.settings
    scenario = found.model.scenario
    launcher = found.law.launcher(scenario, found.values)
    for pattern in np.unique(settings.present, axis=0):
        stages = tuple(int(k) for k in np.flatnonzero(pattern))
        chosen = settings.chosen((settings.present == pattern).all(axis=1))
        done = throw(
            launcher, chosen.surface_speed(launcher, stages, 0),
            chosen.surface_speed(launcher, stages, 1) if chosen.splits else None,
        )  # fmt: skip
        if (done.stages.grip != Grip.SYNC).any():
            return False
    return True
