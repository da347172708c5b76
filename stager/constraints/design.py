"""Limits on the design and on one throw.

The design: number, length, mass and cost of the stages, and crush of the projectile. A throw: exit speed and energy,
acceleration, slip heat, margin below the grip limit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from stager.constraints.limit import (
    STEP,
    Kind,
    Limit,
    OperatingPoint,
    any_stage,
    at_most,
    at_other_speeds,
    greatest,
    least,
    most_helpful,
    over_stages,
    with_other_stages,
    worst_stage,
)  # fmt: skip
from stager.model.arrays import Floats, Number
from stager.model.projectile import Projectile
from stager.model.requirements import ToyLimit
from stager.model.stage import Stage
from stager.physics.barrel import length
from stager.physics.wheel import nip_growth

CALIPER_RESOLUTION = 1e-5
"""Last digit of calipers [m]: no gap is set more closely, so that growth of wheels by less does not count."""


def _sum_over_stages(point: OperatingPoint, field: str) -> Number | None:
    """Return the sum of a field over the stages that have it; None where none has."""
    values = [getattr(point.launcher.stage(k), field) for k in range(point.count)]
    known = [value for value in values if value is not None]
    return sum(known, start=0.0) if known or not values else None


def _largest_stage(point: OperatingPoint, field: str) -> int:
    """Return the number, from 1, of the stage with the greatest value of a field."""
    values = [float(getattr(point.launcher.stage(k), field) or 0.0) for k in range(point.count)]
    return 1 + int(np.argmax(values)) if values else 1


def _grown_crush(point: OperatingPoint) -> Floats:
    """Return the crush in each stage, tyre included, with the wheels grown at their speeds by what shows [m]."""
    speed_a, speed_b = point.throw.stages.wheel_speed_a, point.throw.stages.wheel_speed_b
    found: list[Number] = []
    for index in range(point.count):
        stage = point.launcher.stage(index)
        growth = nip_growth(stage, speed_a[..., index], speed_b[..., index])
        found.append(stage.crush + np.maximum(growth / stage.layout.crush_share - CALIPER_RESOLUTION, 0.0))
    return over_stages(found)


def _missing_modulus(point: OperatingPoint) -> str | None:
    """Return the key without which the growth of a hub at speed is unknown."""

    def unknown_modulus(stage: Stage) -> bool:
        return stage.wheel.material is None or stage.wheel.material.modulus is None

    if any_stage(point, lambda stage: stage.wheel.material is None):
        return "stage.wheel.material"
    return "stage.wheel.modulus" if any_stage(point, unknown_modulus) else None


STAGES = Limit(
    name="stages", kind=Kind.DESIGN, unit="-",
    value=lambda point: float(point.count),
    bound=lambda point: float(point.limit_values.stages),
    remedy=lambda point: "fewer stages" if point.count > point.limit_values.stages else "",
)  # fmt: skip
LENGTH = Limit(
    name="length", kind=Kind.DESIGN, unit="m",
    value=lambda point: length(point.launcher, point.count),
    bound=lambda point: point.limit_values.length,
    remedy=lambda point: "smaller wheels, or one stage less",
)  # fmt: skip
MASS = Limit(
    name="mass", kind=Kind.DESIGN, unit="kg",
    value=lambda point: _sum_over_stages(point, "mass"),
    bound=lambda point: point.limit_values.mass,
    missing=lambda point: "stage.mass" if any_stage(point, lambda stage: stage.mass is None) else None,
    remedy=lambda point: f"one stage less, or a lighter stage {_largest_stage(point, 'mass')}",
)  # fmt: skip
COST = Limit(
    name="cost", kind=Kind.DESIGN, unit="",  # In the configuration's currency.
    value=lambda point: _sum_over_stages(point, "cost"),
    bound=lambda point: point.limit_values.cost,
    missing=lambda point: "stage.cost" if any_stage(point, lambda stage: stage.cost is None) else None,
    remedy=lambda point: f"one stage less, or a cheaper stage {_largest_stage(point, 'cost')}",
)  # fmt: skip
CRUSH = Limit(
    name="crush", kind=Kind.WHEEL, unit="m", hard=True,
    value=greatest(_grown_crush),
    each=_grown_crush,
    bound=lambda point: point.launcher.projectile.max_crush,
    missing=_missing_modulus,
    remedy=lambda point: "a wider gap",
)  # fmt: skip


def _energy_per_area(point: OperatingPoint) -> Number | None:
    """Return ½mv² per frontal area [J/m^2]; None where the area is unknown."""
    area = point.launcher.projectile.known_frontal_area
    return None if area is None else point.exit_energy / area


def _missing_frontal_area(point: OperatingPoint) -> str | None:
    return "projectile.thickness" if point.launcher.projectile.known_frontal_area is None else None


def toy_energy(toy: ToyLimit, projectile: Projectile) -> Number:
    """Return the energy above which a toy limit is certainly broken [J]; inf where no area is known.

    Where `contact_area` is unknown the frontal area stands for it: the contact is no larger.
    """
    area = projectile.known_frontal_area if projectile.contact_area is None else projectile.contact_area
    return np.inf if area is None and toy.energy_per_area is not None else toy.most(area)


def _toy_bound(point: OperatingPoint) -> Number | None:
    """Return the greatest energy of the toy limit [J].

    With an unknown contact area it is the exempted energy up to that energy, above it that on the frontal area.
    """
    toy = point.limit_values.toy
    if toy is None:
        return None
    most = toy_energy(toy, point.launcher.projectile)
    if toy.energy_per_area is None or point.launcher.projectile.contact_area is not None:
        return most
    return np.where(point.exit_energy <= toy.energy, toy.energy, most)


def _missing_contact_area(point: OperatingPoint) -> str | None:
    toy, projectile = point.limit_values.toy, point.launcher.projectile
    if toy is None or toy.energy_per_area is None or projectile.contact_area is not None:
        return None
    return None if bool(point.exit_energy <= toy.energy) else "projectile.contact_area"


def _max_acceleration(point: OperatingPoint) -> Number | None:
    """Return the lower of the user's limit and the projectile's [m/s^2]."""
    given = (point.limit_values.acceleration, point.launcher.projectile.max_acceleration)
    known = [value for value in given if value is not None]
    return np.minimum(known[0], known[-1]) if known else None


def _grip_shares(point: OperatingPoint) -> Floats:
    """Return wheel speed / grip limit of each stage [-], shape (..., stages); 0 where a stage has no grip limit.

    Of a pair at two speeds the leading wheel counts: the other keeps a larger margin, see `physics.grip_limit`.
    """
    speed = point.leading
    if point.grip_limit is None:
        return np.zeros(speed.shape)
    unlimited = np.isnan(point.grip_limit)
    most = np.full(np.broadcast_shapes(speed.shape, point.grip_limit.shape), np.inf)
    shares = np.divide(speed, point.grip_limit, out=most, where=unlimited | (point.grip_limit > 0))
    return np.where(unlimited, 0.0, shares)


def _grip_margins(point: OperatingPoint) -> Floats | None:
    """Return 1 − wheel speed / grip limit of each stage [-]; None where no grip limit was computed."""
    return None if point.grip_limit is None else 1.0 - _grip_shares(point)


def _slower_than_grip(point: OperatingPoint) -> str:
    """Return the wheel speed with the margin below the grip limit, of the stage with the least margin."""
    stage = worst_stage(_grip_shares(point))
    if point.grip_limit is None or not np.size(point.grip_limit) or not np.isfinite(point.grip_limit[stage]):
        return f"a slower wheel {1 + stage}"
    most = float(point.grip_limit[stage]) * (1 - float(point.limit_values.grip_margin))
    return f"wheel {1 + stage} at {at_most(most)}"


def _peak_accelerations(point: OperatingPoint) -> Floats:
    """Return the greatest acceleration in each stage [m/s^2]."""
    return point.throw.stages.peak_acceleration


def _exit_remedy(point: OperatingPoint) -> str:
    """Return the wheel that lowers the exit speed most where it is slower, else the stage where it has less crush.

    A wheel that slips throws no slower where it is a little slower. Each change is made by one step and by two, and
    counts by the faster throw.
    """

    def slower(k: int, factor: float) -> OperatingPoint:
        return at_other_speeds(point, factor, k)

    def softer(k: int, factor: float) -> OperatingPoint:
        return _with_crush(point, k, factor)

    def best(change: Callable[[int, float], OperatingPoint], words: Callable[[int], str]) -> str:
        tried = {words(k): [change(k, 1 - STEP), change(k, 1 - 2 * STEP)] for k in range(point.count)}
        return most_helpful(_exit_speed, point, {name: max(both, key=_exit_speed) for name, both in tried.items()})

    def wheel(k: int) -> str:
        return "a slower last wheel" if k == point.count - 1 else f"a slower wheel {1 + k}"

    return best(slower, wheel) or best(softer, lambda k: f"less crush in stage {1 + k}")


def _with_crush(point: OperatingPoint, k: int, factor: float) -> OperatingPoint:
    """Return the point with the crush of stage `k` times `factor` [-]."""
    return with_other_stages(point, lambda stage: replace(stage, crush=factor * stage.crush), k)


def _acceleration_remedy(point: OperatingPoint) -> str:
    """Return the stage that lowers the greatest acceleration most where it has less crush."""
    less = {f"less crush in stage {1 + k}": _with_crush(point, k, 1 - STEP) for k in range(point.count)}
    return most_helpful(lambda one: (float(np.max(_peak_accelerations(one), initial=0.0)),), point, less)


def _exit_speed(point: OperatingPoint) -> tuple[float, float]:
    """Return whether the projectile jams, and its speed behind the outlet [m/s]."""
    return float(point.throw.jammed), float(point.outlet_speed)


def slip_heat(point: OperatingPoint) -> Floats:
    """Return the heat of slip in all stages [J]."""
    return np.asarray(point.throw.stages.slip_heat.sum(axis=-1))


def _slip_heat_remedy(point: OperatingPoint) -> str:
    """Return the wheel that lowers the heat most where it is slower, or faster: a slow wheel brakes the projectile."""
    changes = {
        f"a {word} wheel {1 + k}": at_other_speeds(point, factor, k)
        for k in range(point.count)
        for word, factor in (("slower", 1 - STEP), ("faster", 1 + STEP))
    }
    return most_helpful(lambda one: (float(one.throw.jammed), float(slip_heat(one))), point, changes)


EXIT_ENERGY = Limit(
    name="exit_energy", kind=Kind.THROW, unit="J", hard=True,
    value=lambda point: point.exit_energy,
    bound=lambda point: point.limit_values.exit_energy,
    remedy=_exit_remedy,
)  # fmt: skip
EXIT_SPEED = Limit(
    name="exit_speed", kind=Kind.THROW, unit="m/s", hard=True,
    value=lambda point: point.outlet_speed,
    bound=lambda point: point.limit_values.exit_speed,
    remedy=_exit_remedy,
)  # fmt: skip
ENERGY_PER_AREA = Limit(
    name="energy_per_area", kind=Kind.THROW, unit="J/m^2", hard=True,
    value=_energy_per_area,
    bound=lambda point: point.limit_values.energy_per_area,
    missing=_missing_frontal_area,
    remedy=lambda point: ", or ".join([one for one in (_exit_remedy(point), "a wider projectile") if one]),
)  # fmt: skip
TOY = Limit(
    name="toy", kind=Kind.THROW, unit="J", hard=True,
    value=lambda point: point.exit_energy,
    bound=_toy_bound, bound_by_missing=True,
    missing=_missing_contact_area,
    remedy=_exit_remedy,
)  # fmt: skip
ACCELERATION = Limit(
    name="acceleration", kind=Kind.THROW, unit="m/s^2", hard=True,
    value=greatest(_peak_accelerations),
    each=_peak_accelerations,
    bound=_max_acceleration,
    remedy=_acceleration_remedy,
)  # fmt: skip
SLIP_HEAT = Limit(
    name="slip_heat", kind=Kind.THROW, unit="J",
    value=slip_heat,
    bound=lambda point: point.limit_values.slip_heat,
    remedy=_slip_heat_remedy,
)  # fmt: skip
GRIP_MARGIN = Limit(
    name="grip_margin", kind=Kind.THROW, unit="-", floor=True,
    value=least(_grip_margins, without=1.0),
    each=_grip_margins,
    bound=lambda point: point.limit_values.grip_margin or None,
    remedy=_slower_than_grip,
)  # fmt: skip
