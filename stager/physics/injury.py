"""Eye injuries by energy per area: a caution in plain words, not a permission."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class EyeInjury:
    """An injury, and the energy per projected area at which half of the eyes hit suffer it [J/m^2]."""

    name: str
    meaning: str
    half_risk: float


EYE_INJURIES = (
    EyeInjury("corneal abrasion", "the eye's surface is scraped", 1503.0),
    EyeInjury("lens dislocation", "the lens is torn from its place", 19_194.0),
    EyeInjury("hyphema", "blood in the front of the eye", 20_188.0),
    EyeInjury("globe rupture", "the eyeball bursts", 23_771.0),
    EyeInjury("retinal damage", "the retina is torn or detached", 30_351.0),
)
"""Duma et al., J. Trauma 59 (2005) 960: 50 % risks from projectiles at 2 to 122 m/s; the mildest first."""
NO_SAFE_VALUE = "No value is safe: less energy only makes an injury of the eye less likely. Wear eye protection."


def likely_injuries(energy_per_area: float) -> tuple[EyeInjury, ...]:
    """Injuries that at least half of the eyes suffer that are hit at `energy_per_area` [J/m^2]."""
    return tuple(injury for injury in EYE_INJURIES if np.asarray(energy_per_area) >= injury.half_risk)
