"""What can hurt: the projectile that leaves, and wheels that store energy. Numbers for choosing a guard, no more."""

from __future__ import annotations

from dataclasses import dataclass

from stager.model.launcher import Launcher
from stager.model.toy import ToyLimit
from stager.physics.flight import FallLine, fall_line, spin_parameter, wobble_rate
from stager.physics.inertia import wheel_mass
from stager.physics.injury import EyeInjury, likely_injuries
from stager.physics.loads import peak_normal
from stager.physics.motion import translation_energy
from stager.physics.muzzle import outlet_speed
from stager.physics.records import Throw
from stager.physics.rotor import fragment_energy, imbalance_force, stored_energy
from stager.physics.toys import TOY_LIMITS

HEIGHT = 1.5
"""Height above the ground that fall lines are reckoned from where [flight] names none [m]."""
GRADE = 6.3e-3
"""Balance grade G 6.3 [m/s]: fans, small electric motors and machines in general by the table of ISO 21940-11, as a
maker of test machines prints it (ascentialtech.com, page on its grades)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelHazard:
    """The faster wheel of a stage: stored energy and energy of a third that breaks away, its spin included [J]; the
    nip's load on its shaft and the turning force of an imbalance at G 6.3 [N], None where its mass is not known."""

    stored: float
    fragment: float
    load: float
    imbalance: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazards:
    """energy [J] and energy_per_area [J/m^2] (None: area not known) of what leaves; injuries of at least half
    of the eyes hit; toy limits with whether they are kept (None: not known); fall line from `height` above ground [m];
    spin parameter [-], wobble rate [rad/s]; wheels by stage."""

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
    """Hazards of a throw without batch axes."""
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
    return HEIGHT if launcher.flight is None else float(launcher.flight.height)


def _fall(launcher: Launcher, speed: float, spin: float) -> FallLine:
    flight = launcher.flight
    drag = None if flight is None or flight.drag is None else float(flight.drag)
    return fall_line(speed, launcher.projectile, _height(launcher), spin, drag)


def _wheel(launcher: Launcher, throw: Throw, k: int) -> WheelHazard:
    stage = launcher.stage(k)
    speed_a, speed_b = float(throw.stages.wheel_speed_a[k]), float(throw.stages.wheel_speed_b[k])
    wheel, fastest = stage.wheel, max(speed_a, speed_b)
    weighed = wheel.mass is not None or (wheel.material is not None and wheel.width is not None)
    return WheelHazard(
        stored=float(stored_energy(wheel, fastest)),
        fragment=float(fragment_energy(wheel, fastest)),
        load=float(peak_normal(launcher, k, speed_a, speed_b)),
        imbalance=float(imbalance_force(wheel_mass(wheel), GRADE, fastest / wheel.radius)) if weighed else None,
    )
