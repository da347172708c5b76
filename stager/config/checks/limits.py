"""What a limit or a goal needs to be judged, and that both are exact."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from stager.config.lines import Path
from stager.config.machine import File, Stage
from stager.config.problem import Problem
from stager.physics.safety import TOY_LIMITS
from stager.units import Measured

Needs = tuple[str, str, Callable[[Stage], bool]]
_DRIVE: Needs = (
    "drive",
    'add [stage.drive] with speed_constant = "1400 rpm/V"',
    lambda stage: stage.drive is None and not stage.drive_options,
)
_MASS: Needs = ("mass", 'for example mass = "240 g"', lambda stage: stage.mass is None)
_COST: Needs = ("cost", "for example cost = 38.0", lambda stage: stage.cost is None)
_STRENGTH: Needs = (
    "wheel.yield_strength",
    'for example yield_strength = "240 MPa", or material = "aluminium"',
    lambda stage: (
        stage.wheel.material is None
        and (stage.wheel.density is None or (stage.wheel.yield_strength or stage.wheel.tensile_strength) is None)
    ),
)
_OF_STAGES: dict[str, tuple[Needs, ...]] = {
    "mass": (_MASS,), "cost": (_COST,), "average_power": (_DRIVE,), "peak_power": (_DRIVE,),
    "supply_current": (_DRIVE,), "settled_loss": (_DRIVE,), "winding_temperature": (_DRIVE,),
    "rim_safety": (_STRENGTH,),
}  # fmt: skip
_SUPPLY = ("average_power", "peak_power", "supply_current", "voltage", "settled_loss", "winding_temperature")


def limits(file: File) -> Iterator[Problem]:
    """Each limit that is set can be judged; limits and goals are exact.

    The drive's heat is optional: without it answers say that a winding's temperature is not judged.
    """
    yield from _exact(file)
    known = [toy.name for toy in TOY_LIMITS]
    if file.limits.toy is not None and file.limits.toy not in known:
        message = f'"{file.limits.toy}" is none of the published limits known here'
        yield Problem(("limits", "toy"), message, f"known: {'; '.join(known)}")
    yield from _goal(file)
    for name in type(file.limits).model_fields:
        if getattr(file.limits, name) is not None and name in file.limits.model_fields_set:
            yield from _needs(file, name)


def _needs(file: File, name: str) -> Iterator[Problem]:
    limit = (("limits", name),)
    for key, hint, lacking in _OF_STAGES.get(name, ()):
        for path, stage in _stages(file):
            place = next((place for place, part in _parts(stage, key) if lacking(part)), None)
            if place is not None:
                yield Problem((*path, *place), f"is missing: limits.{name} needs it", hint, limit)
                break
    if name in _SUPPLY and file.supply is None:
        yield Problem(("supply",), f"is missing: limits.{name} needs it", 'add [supply] with voltage = "14.8 V"', limit)
    if name == "settled_loss" and file.feed.rate is None:
        yield Problem(("feed", "rate"), f"is missing: limits.{name} needs it", 'for example rate = "2 /s"', limit)


def _stages(file: File) -> list[tuple[Path, Stage]]:
    return [(("stage",), file.stage), *((("stages", number), stage) for number, stage in enumerate(file.stages))]


def _parts(stage: Stage, key: str) -> Iterator[tuple[Path, Stage]]:
    """Where `key` belongs in a stage as written, then in each part that may be in it, with the stage so."""
    table, *rest = key.split(".")
    yield (table, *rest), stage
    for number, option in enumerate(getattr(stage, f"{table}_options", ()) if rest else ()):
        yield (f"{table}_options", number, *rest), stage.model_copy(update={table: option})


def _exact(file: File) -> Iterator[Problem]:
    for name, table in (("limits", file.limits), ("goal", file.goal)):
        for key in type(table).model_fields:
            value = getattr(table, key)
            if isinstance(value, Measured) and value.standard_uncertainty:
                message = "is yours to choose, so it has no uncertainty"
                yield Problem((name, key), message, "leave out ± and what follows")


def _goal(file: File) -> Iterator[Problem]:
    goal = file.goal
    aim = ("goal", "aim")
    if goal.aim != "fastest" and goal.exit_speed is None:
        message = f'is missing: aim "{goal.aim}" needs it'
        yield Problem(("goal", "exit_speed"), message, 'for example exit_speed = "18 m/s"', (aim,))
    if goal.spin is not None:
        yield from _spin(file)


def _spin(file: File) -> Iterator[Problem]:
    """Only what rolls between pairs is set to a spin."""
    spin, without = ("goal", "spin"), "or leave spin out"
    if any(stage.layout != "pair" for _, stage in _stages(file)):
        others = (("stage", "layout"), ("stages",))
        yield Problem(spin, "only pairs can be set to a spin", f'layout = "pair", {without}', others)
    if file.projectile.shape == "rod":
        shape = (("projectile", "shape"),)
        yield Problem(spin, "a rod cannot be set to a spin: it does not roll", "leave spin out", shape)
    if file.goal.aim == "steadiest":
        aim = (("goal", "aim"),)
        message = 'aim "steadiest" cannot be joined with a spin yet'
        yield Problem(spin, message, f'aim = "reach" with the same exit_speed, {without}', aim)
