"""Hazards: injury thresholds and limits on toys for the projectile, stored and fragment energy of the wheels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.model.launcher import Launcher
from stager.model.requirements import ToyLimit
from stager.physics.flight import FallLine, fall_line, outlet_speed, spin_parameter, wobble_rate
from stager.physics.mechanics import peak_normal, translation_energy
from stager.physics.records import Throw
from stager.physics.wheel import fragment_energy, imbalance_force, stored_energy, wheel_mass


@dataclass(frozen=True, slots=True)
class EyeInjury:
    """An injury of the eye; half_risk: energy per projected area at which half of the eyes suffer it [J/m^2]."""

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
    """Return the injuries whose risk is at least one half at `energy_per_area` [J/m^2]."""
    return tuple(injury for injury in EYE_INJURIES if np.asarray(energy_per_area) >= injury.half_risk)


TOY_LIMITS = (
    ToyLimit(
        name="ASTM F963-17",
        energy=0.08,
        energy_per_area=2500.0,
        source="a test laboratory's bulletin on tests 8.14.5 and 8.14.6",
    ),
    ToyLimit(
        name="EN 71-1 before A1:2018 (resilient)",
        energy=0.5,
        source="a trading-standards page of 2010",
    ),
    ToyLimit(
        name="EN 71-1 before A1:2018 (rigid)",
        energy=0.08,
        source="a trading-standards page of 2010",
    ),
)
"""Limits whose values were read in the sources named.

The present EN 71-1 limits energy per area too (amendment A1:2018, by a report of the Austrian agency for health and
food safety on action A-046-18); its values were not read."""
NOT_COMPARED = "EN 71-1 as amended in 2018 goes by energy per area too: its values are not known here, so not compared."


DEFAULT_HEIGHT = 1.5
"""Height of the muzzle above the ground where [flight] does not give it [m]."""
BALANCE_GRADE = 6.3e-3
"""Balance grade G 6.3 [m/s]: fans, small electric motors and machines in general by the table of ISO 21940-11, as a
maker of test machines prints it (ascentialtech.com, page on its grades)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelHazard:
    """Hazards of the faster wheel of a stage, at its greatest speed in the throw.

    stored: kinetic energy [J]
    fragment: energy of a third that breaks away, its spin included [J]
    load: force of the nip on its shaft [N]
    imbalance: rotating force at balance grade G 6.3 [N]; None where its mass is unknown
    """

    stored: float
    fragment: float
    load: float
    imbalance: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazards:
    """Hazards of a throw.

    energy [J], energy_per_area [J/m^2]: of the projectile; None where its frontal area is unknown
    injuries: of the eye, with a risk of at least one half
    toys: limits on toys, each with whether it is kept; None: unknown
    fall: distances of the farthest fall from `height` above the ground [m]
    spin_parameter [-]; wobble_rate [rad/s]
    wheels: by stage
    """

    energy: float
    energy_per_area: float | None
    injuries: tuple[EyeInjury, ...]
    toys: tuple[tuple[ToyLimit, bool | None], ...]
    fall: FallLine
    height: float
    spin_parameter: float
    wobble_rate: float
    wheels: tuple[WheelHazard, ...]


def hazards(launcher: Launcher, throw: Throw) -> Hazards:
    """Return the hazards of a throw without batch axes."""
    projectile = launcher.projectile
    speed = float(outlet_speed(launcher, throw.exit_speed))
    energy = float(translation_energy(speed, projectile))
    area = projectile.known_frontal_area
    by_area = None if area is None else energy / float(area)
    front = None if area is None else float(area)
    touching = None if projectile.contact_area is None else float(projectile.contact_area)
    return Hazards(
        energy=energy, energy_per_area=by_area, injuries=() if by_area is None else likely_injuries(by_area),
        toys=tuple((limit, limit.keeps(energy, touching, front)) for limit in TOY_LIMITS),
        fall=_fall(launcher, speed, float(throw.spin)), height=_height(launcher),
        spin_parameter=float(spin_parameter(throw.spin, speed, projectile)),
        wobble_rate=float(wobble_rate(throw.spin, projectile)),
        wheels=tuple(_wheel(launcher, throw, k) for k in range(throw.stages.grip.shape[-1])),
    )  # fmt: skip


def _height(launcher: Launcher) -> float:
    return DEFAULT_HEIGHT if launcher.flight is None else float(launcher.flight.height)


def _fall(launcher: Launcher, speed: float, spin: float) -> FallLine:
    flight = launcher.flight
    drag = None if flight is None or flight.drag is None else float(flight.drag)
    return fall_line(speed, launcher.projectile, _height(launcher), spin, drag)


def _wheel(launcher: Launcher, throw: Throw, k: int) -> WheelHazard:
    stage = launcher.stage(k)
    speed_a, speed_b = float(throw.stages.wheel_speed_a[k]), float(throw.stages.wheel_speed_b[k])
    # A projectile that is faster than a wheel drives it.
    top = throw.stages.wheel_top_a[k], throw.stages.wheel_top_b[k]
    wheel, fastest = stage.wheel, max(speed_a, speed_b, *map(float, top))
    weighed = wheel.mass is not None or (wheel.material is not None and wheel.width is not None)
    return WheelHazard(
        stored=float(stored_energy(wheel, fastest)),
        fragment=float(fragment_energy(wheel, fastest)),
        load=float(peak_normal(launcher, k, speed_a, speed_b)),
        imbalance=float(imbalance_force(wheel_mass(wheel), BALANCE_GRADE, fastest / wheel.radius)) if weighed else None,
    )
