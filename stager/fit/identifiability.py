"""What the throws cannot tell: perturbations that move nothing here, and pairs that move it alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.explanations import PERTURBATIONS, TYPICAL, Perturbation
from stager.fit.optimiser import BestFit
from stager.model.arrays import Floats
from stager.physics.chain import throw
from stager.physics.records import Grip

VISIBLE, BLIND, APART = 3.0, 1.5, 2.0
"""In standard deviations of the whole of the data: seen, unseen, told apart."""

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
"""Two perturbations, how many of them must carry an uncertainty to be worth a word, and why they look alike."""

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
IN_SLIP = ("friction", "fade", "sliding")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """What one perturbation does to the throws: effect on ln exit speed (n,) of a change of `size` (relative), in
    scatters; known: the configuration takes it as known."""

    perturbation: Perturbation
    size: float
    effect: Floats
    known: bool

    @property
    def strength(self) -> float:
        """How far all throws together would show it, in standard deviations."""
        return float(np.sqrt((self.effect**2).sum()))

    def beside(self, other: Shift) -> float:
        """Likewise of what `other` could not imitate."""
        if other.strength == 0:
            return self.strength
        direction = other.effect / other.strength
        return float(np.sqrt(((self.effect - direction * (direction @ self.effect)) ** 2).sum()))


def shifts(found: BestFit) -> dict[str, Shift]:
    """Shifts of every perturbation that the launcher has, at the best fit; all in one call of the model."""
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
    """Relative change to try: the prior's standard uncertainty, else a tenth; and whether it is taken as known."""
    for prior in (*found.priors, *found.idle):
        if prior.key in perturbation.keys:
            low, middle, high = (float(prior.value(np.array(z))) for z in (-1.0, 0.0, 1.0))
            return max((high - low) / 2 / abs(middle), 0.01) if middle else TYPICAL, False
    return TYPICAL, True


def sentences(found: BestFit) -> tuple[str, ...]:
    """What the throws cannot tell, in plain words."""
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
        if name in free and not (gripped and name in IN_SLIP) and moved[name].strength < BLIND
    ]
    if unseen:
        stays = "it stays" if len(unseen) == 1 else "they stay"
        said.append(f"The throws say nothing about the {_and(unseen)}: {stays} at the configured value.")
    alike: dict[str, dict[str, Shift]] = {}
    for one, other, least, why in PAIRS:
        if one not in moved or other not in moved or len({one, other} & free) < least:
            continue
        a, b = moved[one], moved[other]
        if min(a.strength, b.strength) > VISIBLE and min(a.beside(b), b.beside(a)) < APART:
            alike.setdefault(why, {}).update({one: a, other: b})
    return (*said, *(_together(list(group.values()), why) for why, group in alike.items()))


def _together(group: list[Shift], why: str) -> str:
    """A pair, or several that share a reason."""
    text = f"{_and([shift.perturbation.words for shift in group])} cannot be told apart here: {why}."
    known = [shift.perturbation.words for shift in group if shift.known]
    if len(known) == 1:
        text += f" The {known[0]} is taken as the configuration gives it."
    return text[0].upper() + text[1:]


def _and(words: list[str]) -> str:
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def all_gripped(found: BestFit) -> bool:
    """Whether the best fit has every throw leave in grip."""
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
