"""What must fit together across keys."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise

from stager.config.lines import Path
from stager.config.machine import File, Stage, Tyre, Wheel
from stager.config.tables import TabulatedFriction
from stager.physics.materials import TYRE_MATERIALS, WHEEL_MATERIALS
from stager.quantity import Measured, stiffness_unit

Problem = tuple[Path, str, str]


def check(file: File) -> list[Problem]:
    """Problems (path, message, hint) of a file whose single values are all right."""
    problems = [*_projectile(file), *_contact(file), *_goal(file)]
    for path, stage in [(("stage",), file.stage), *((("stages", i), s) for i, s in enumerate(file.stages))]:
        problems += [*_stage(file, path, stage), *_wheel(path, stage.wheel)]
        for number, wheel in enumerate(stage.wheel_options):
            problems += _wheel((*path, "wheel_options", number), wheel, here=True)
    return problems


def _projectile(file: File) -> Iterator[Problem]:
    projectile, path = file.projectile, ("projectile",)
    if projectile.shape == "rod" and projectile.length is None:
        yield path, "a rod needs its `length`", 'for example length = "60 mm"'
    flat = projectile.shape in ("disc", "ring")
    if flat and file.limits.energy_per_area is not None and projectile.thickness is None:
        yield path, "limits.energy_per_area of a disc or ring needs its `thickness`", 'for example thickness = "8 mm"'


def _contact(file: File) -> Iterator[Problem]:
    contact = file.contact
    unit = stiffness_unit(contact.exponent.value)
    if contact.stiffness.unit != unit:
        message = f"is in {contact.stiffness.unit}, but exponent {contact.exponent.value:g} needs {unit}"
        yield ("contact", "stiffness"), message, f'for example "40000 {unit}"'
    for key, law in (("friction", contact.friction), ("rail_friction", contact.rail_friction)):
        if not isinstance(law, TabulatedFriction):
            continue
        slips = [point.value for point in law.slip]
        if len(slips) != len(law.coefficient):
            message = f"has {len(law.coefficient)} values for {len(slips)} slip speeds"
            yield ("contact", key, "coefficient"), message, "one coefficient for each slip speed"
        if any(b <= a for a, b in pairwise(slips)):
            yield ("contact", key, "slip"), "must rise from point to point", 'for example ["0 m/s", "2 m/s", "10 m/s"]'


def _goal(file: File) -> Iterator[Problem]:
    goal = file.goal
    if goal.aim != "fastest" and goal.exit_speed is None:
        yield ("goal",), f'aim "{goal.aim}" needs `exit_speed`', 'for example exit_speed = "18 m/s"'
    if goal.spin is not None and file.stage.layout != "pair":
        yield ("goal", "spin"), "only a pair can be set to a spin", 'layout = "pair", or leave spin out'


def _stage(file: File, path: Path, stage: Stage) -> Iterator[Problem]:
    projectile = file.projectile
    if stage.crush.value >= projectile.diameter.value:
        yield (*path, "crush"), "must be less than the projectile's width", 'for example crush = "4 mm"'
    elif projectile.max_crush is not None and stage.crush.value > projectile.max_crush.value:
        yield (*path, "crush"), "is more than projectile.max_crush", "crush less, or take a projectile that bears more"
    if stage.layout == "idler" and stage.idler is None:
        name = "stage" if path[0] == "stage" else "stages"
        yield path, 'layout "idler" needs the free wheel\'s inertia', f'[{name}.idler] with inertia = "4e-5 kg m^2"'
    if stage.layout != "pair" and stage.speed is not None and len(stage.speed) > 1:
        yield (*path, "speed"), "two speeds need a pair", 'for example speed = "12 m/s"'


def _wheel(path: Path, wheel: Wheel, *, here: bool = False) -> Iterator[Problem]:
    path = path if here else (*path, "wheel")
    if wheel.material is not None and wheel.material not in WHEEL_MATERIALS:
        yield (*path, "material"), f'"{wheel.material}" is not in the table', _names(WHEEL_MATERIALS)
    if wheel.inertia is None and (wheel.width is None or (wheel.material is None and wheel.density is None)):
        yield path, "needs its `inertia`, or `width` and `material`", 'for example width = "18 mm", material = "acetal"'
    tyre = wheel.tyre
    depth = 0.0 if tyre is None else tyre.depth.value
    if depth >= wheel.radius.value:
        yield (*path, "tyre", "depth"), "must be less than the wheel's radius", 'for example depth = "3 mm"'
    elif _value(wheel.bore) / 2 >= wheel.radius.value - depth:
        yield (*path, "bore"), "must be smaller than the hub", 'for example bore = "5 mm"'
    if tyre is not None:
        yield from _tyre((*path, "tyre"), tyre)


def _tyre(path: Path, tyre: Tyre) -> Iterator[Problem]:
    if tyre.material is not None and tyre.material not in TYRE_MATERIALS:
        yield (*path, "material"), f'"{tyre.material}" is not in the table', _names(TYRE_MATERIALS)
    elif tyre.material is None and (tyre.density is None or (tyre.hardness is None and tyre.modulus is None)):
        message = "needs its `material`, or `density` with `hardness` or `modulus`"
        yield path, message, 'for example material = "nitrile 70"'


def _value(measured: Measured) -> float:
    return measured.value


def _names(table: Mapping[str, object]) -> str:
    return "known: " + ", ".join(sorted(table))
