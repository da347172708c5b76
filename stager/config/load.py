"""Read a configuration file, check it across several keys, and report all its problems at once."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from stager.config.configuration import Configuration
from stager.config.csv_tables import read_draws, read_lists
from stager.config.errors import Mistake, explain, findings, meant, place, repair
from stager.config.schema import refuse
from stager.config.tables import DriveTable, File, StageTable, TabulatedFrictionTable, TyreTable, WheelTable, merged
from stager.config.toml import KeyPath, tokens
from stager.errors import InputError, InputErrors
from stager.files import read_bytes
from stager.model.launcher import Pusher
from stager.model.projectile import SHAPES, Projectile
from stager.physics.barrel import greatest_rate
from stager.physics.safety import TOY_LIMITS
from stager.physics.wheel import TYRE_MATERIALS, WHEEL_MATERIALS
from stager.units import Measured, format_quantity, stiffness_unit


def contact(file: File) -> Iterator[Mistake]:
    """Check the unit of the stiffness against the exponent, and the points of tabulated laws."""
    table = file.contact
    unit = stiffness_unit(table.exponent.value)
    if table.stiffness.unit != unit:
        message = f"is in {table.stiffness.unit}, but exponent {table.exponent.value:g} needs {unit}"
        yield Mistake(("contact", "stiffness"), message, f'for example "40000 {unit}"', (("contact", "exponent"),))
    for key, law in (("friction", table.friction), ("rail_friction", table.rail_friction)):
        if isinstance(law, TabulatedFrictionTable):
            yield from _points(("contact", key), law)


def _points(path: KeyPath, law: TabulatedFrictionTable) -> Iterator[Mistake]:
    slips = [point.value for point in law.slip]
    others = ((*path, "slip"),)
    if len(slips) != len(law.coefficient):
        message = f"has {len(law.coefficient)} values for {len(slips)} slip speeds"
        yield Mistake((*path, "coefficient"), message, "write one coefficient for each slip speed", others)
    if any(later <= earlier for earlier, later in pairwise(slips)):
        yield Mistake((*path, "slip"), "must rise from point to point", 'for example ["0 m/s", "2 m/s", "10 m/s"]')
    for name, points in (("slip", law.slip), ("coefficient", law.coefficient)):
        if any(point.standard_uncertainty for point in points):
            yield Mistake((*path, name), "has points without ± only", "take another law where friction is uncertain")


def feed(file: File) -> Iterator[Mistake]:
    """Check that a rod enters without spin, and that the rate is within the highest rate of the feed."""
    fed, thrown, size = file.feed, file.projectile, ("projectile", "diameter")
    if thrown.shape == "rod" and fed.spin.value:
        yield Mistake(
            ("feed", "spin"), "is for shapes that roll, not for a rod", "leave it out", (("projectile", "shape"),)
        )
    if fed.rate is None:
        return
    pusher = None if fed.pusher is None else Pusher(
        force=fed.pusher.force.value, travel=fed.pusher.travel.value, return_time=fed.pusher.return_time.value
    )  # fmt: skip
    length = None if thrown.length is None else thrown.length.value
    known = Projectile(
        shape=SHAPES[thrown.shape], mass=thrown.mass.value, diameter=thrown.diameter.value, length=length
    )  # fmt: skip
    most, touching = (float(greatest_rate(fed.speed.value, known, one)) for one in (pusher, None))
    if fed.rate.value <= most * (1 + RATE_ROUNDING):
        return
    others = (("feed", "speed"), size, ("projectile", "length"), ("feed", "pusher"))
    why = "the next projectile touches the one before it" if most == touching else "the pusher needs that long"
    message = f"must be at most {most:.3g} /s (got {fed.rate.value:.3g} /s): there {why}"
    hint = f'for example rate = "{0.6 * most:.2g} /s", or a faster feed.speed'
    yield Mistake(("feed", "rate"), message, hint, others)


RATE_ROUNDING = 1e-9
"""Share by which a rate may exceed the highest one, from rounding [-]."""


Needs = tuple[str, str, Callable[[StageTable], bool]]
_DRIVE: Needs = (
    "drive",
    'add [stage.drive] with speed_constant = "1400 rpm/V", resistance = "60 mohm"',
    lambda stage: stage.drive is None and not stage.drive_options,
)
_MASS: Needs = ("mass", 'for example mass = "240 g"', lambda stage: stage.mass is None)
_COST: Needs = ("cost", "for example cost = 38.0", lambda stage: stage.cost is None)
_STRENGTH: Needs = (
    "wheel.yield_strength",
    'for example yield_strength = "240 MPa", or material = "aluminium"',
    lambda stage: stage.wheel.material is None and (stage.wheel.yield_strength or stage.wheel.tensile_strength) is None,
)
_DENSITY: Needs = (
    "wheel.density",
    'for example density = "2700 kg/m^3", or material = "aluminium"',
    lambda stage: (
        stage.wheel.material is None
        and stage.wheel.density is None
        and (stage.wheel.yield_strength or stage.wheel.tensile_strength) is not None
    ),
)
_OF_STAGES: dict[str, tuple[Needs, ...]] = {
    "mass": (_MASS,), "cost": (_COST,), "average_power": (_DRIVE,), "peak_power": (_DRIVE,),
    "supply_current": (_DRIVE,), "settled_loss": (_DRIVE,), "winding_temperature": (_DRIVE,),
    "rim_safety": (_STRENGTH, _DENSITY),
}  # fmt: skip
_OF_A_HUB = ("material", "tensile_strength")
_REPLACING = {"wheel.yield_strength": _OF_A_HUB, "wheel.density": _OF_A_HUB}
"""Keys of the same table that do instead of one that a limit needs."""
_SUPPLY = ("average_power", "peak_power", "supply_current", "voltage", "settled_loss", "winding_temperature")


def limits(file: File) -> Iterator[Mistake]:
    """Check that each limit has its inputs, and that limits and goal have no uncertainty.

    The drive's heat may be missing: the winding temperature is then not judged.
    """
    yield from _exact(file)
    known = [toy.name for toy in TOY_LIMITS]
    if file.limits.toy is not None and file.limits.toy not in known:
        message = f'"{file.limits.toy}" is none of the published limits known here'
        yield Mistake(("limits", "toy"), message, f"known: {'; '.join(known)}")
    yield from _goal(file)
    for name in type(file.limits).model_fields:
        if getattr(file.limits, name) is not None and name in file.limits.model_fields_set:
            yield from _needs(file, name)


def _needs(file: File, name: str) -> Iterator[Mistake]:
    limit = (("limits", name),)
    for key, hint, lacking in _OF_STAGES.get(name, ()):
        for path, stage in _built(file):
            place = next((place for place, part in _parts(stage, key) if lacking(part)), None)
            if place is not None:
                others = (*limit, *((*path, *place[:-1], other) for other in _REPLACING.get(key, ())))
                yield Mistake((*path, *place), f"is missing: limits.{name} needs it", hint, others)
                break
    if name in _SUPPLY and file.supply is None:
        yield Mistake(("supply",), f"is missing: limits.{name} needs it", 'add [supply] with voltage = "14.8 V"', limit)
    if name == "settled_loss" and file.feed.rate is None:
        yield Mistake(("feed", "rate"), f"is missing: limits.{name} needs it", 'for example rate = "2 /s"', limit)


def _stage_tables(file: File) -> list[tuple[KeyPath, StageTable]]:
    return [(("stage",), file.stage), *((("stages", number), stage) for number, stage in enumerate(file.stages))]


def _built(file: File) -> list[tuple[KeyPath, StageTable]]:
    """Return the tables that stages are built from: [stage] where there may be more stages than entries."""
    found = _stage_tables(file)
    return found if file.limits.stages > len(file.stages) else found[1:]


def _parts(stage: StageTable, key: str) -> Iterator[tuple[KeyPath, StageTable]]:
    """Yield the place of `key` in a stage and in each of its options, with the stage that has that option."""
    table, *rest = key.split(".")
    yield (table, *rest), stage
    for number, option in enumerate(getattr(stage, f"{table}_options", ()) if rest else ()):
        yield (f"{table}_options", number, *rest), stage.model_copy(update={table: option})


def _exact(file: File) -> Iterator[Mistake]:
    for name, table in (("limits", file.limits), ("goal", file.goal)):
        for key in type(table).model_fields:
            value = getattr(table, key)
            if isinstance(value, Measured) and value.standard_uncertainty:
                message = "is a choice, so it has no uncertainty"
                yield Mistake((name, key), message, "leave out ± and what follows")


def _goal(file: File) -> Iterator[Mistake]:
    goal = file.goal
    aim = ("goal", "aim")
    if goal.aim != "fastest" and goal.exit_speed is None:
        message = f'is missing: aim "{goal.aim}" needs it'
        yield Mistake(("goal", "exit_speed"), message, 'for example exit_speed = "18 m/s"', (aim,))
    if goal.spin is not None:
        yield from _spin(file)


def _spin(file: File) -> Iterator[Mistake]:
    """Check that a spin is asked for with pairs and a shape that rolls."""
    spin, without = ("goal", "spin"), "or leave spin out"
    if any(stage.layout != "pair" for _, stage in _stage_tables(file)):
        others = (("stage", "layout"), ("stages",))
        yield Mistake(spin, "only pairs can be set to a spin", f'layout = "pair", {without}', others)
    if file.projectile.shape == "rod":
        shape = (("projectile", "shape"),)
        yield Mistake(spin, "a rod cannot be set to a spin: it does not roll", "leave spin out", shape)
    if file.goal.aim == "steadiest":
        aim = (("goal", "aim"),)
        message = 'aim "steadiest" cannot be joined with a spin yet'
        yield Mistake(spin, message, f'aim = "reach" with the same exit_speed, {without}', aim)


FLAT = ("disc", "ring")


def projectile(file: File) -> Iterator[Mistake]:
    """Check length, thickness and greatest crush against the shape."""
    thrown, shape = file.projectile, ("projectile", "shape")
    if thrown.shape == "rod" and thrown.length is None:
        yield Mistake(("projectile", "length"), "is missing: a rod needs it", 'for example length = "60 mm"', (shape,))
    if thrown.shape != "rod" and thrown.length is not None:
        yield Mistake(("projectile", "length"), f"belongs to a rod, not to a {thrown.shape}", "leave it out", (shape,))
    flat = thrown.shape in FLAT
    if not flat and thrown.thickness is not None:
        message = f"belongs to a disc or ring, not to a {thrown.shape}"
        yield Mistake(("projectile", "thickness"), message, "leave it out", (shape,))
    if flat and file.limits.energy_per_area is not None and thrown.thickness is None:
        message = f"is missing: limits.energy_per_area of a {thrown.shape} needs it"
        others = (shape, ("limits", "energy_per_area"))
        yield Mistake(("projectile", "thickness"), message, 'for example thickness = "8 mm"', others)
    if flat and file.measuring is not None and file.measuring.distance.value and thrown.thickness is None:
        message = f"is missing: air slows a {thrown.shape} over measuring.distance"
        others = (shape, ("measuring", "distance"))
        yield Mistake(("projectile", "thickness"), message, 'for example thickness = "8 mm"', others)
    if thrown.max_crush is not None and thrown.max_crush.value >= thrown.diameter.value:
        width = (("projectile", "diameter"),)
        yield Mistake(("projectile", "max_crush"), "must be less than the diameter", 'for example "5 mm"', width)


def wheel(path: KeyPath, table: WheelTable) -> Iterator[Mistake]:
    """Check that inertia and materials are known, and that bore, hub and tyre fit."""
    yield from _material((*path, "material"), table.material, WHEEL_MATERIALS, "`density`, `yield_strength` and so on")
    if table.inertia is None:
        yield from _geometry(path, table)
    depth = 0.0 if table.tyre is None else table.tyre.depth.value
    radius = ((*path, "radius"),)
    yield from _wheel_ranges(path, table, depth)
    if depth >= table.radius.value:
        yield Mistake((*path, "tyre", "depth"), "must be less than the wheel's radius", 'for example "3 mm"', radius)
    elif table.bore is not None and table.bore.value / 2 + depth >= table.radius.value * (1 - ROUNDING):
        others, hint = (*radius, (*path, "tyre", "depth")), 'for example bore = "5 mm"'
        yield Mistake((*path, "bore"), "must be smaller than the hub, the wheel without its tyre", hint, others)
    if table.tyre is not None:
        yield from _tyre(path, table, table.tyre)


def _wheel_ranges(path: KeyPath, table: WheelTable, depth: float) -> Iterator[Mistake]:
    """Check that the radius lies in its range, and that the least radius leaves a hub."""
    ends = table.radius_range
    if ends is None:
        return
    low, high = (format_quantity(end.value, unit="m", written=end.written) for end in (ends.low, ends.high))
    bore = 0.0 if table.bore is None else table.bore.value
    if not ends.low.value <= table.radius.value <= ends.high.value:
        message = f"must lie within radius_range, {low} to {high}"
        hint = f'for example radius = "{low}", or widen the range'
        yield Mistake((*path, "radius"), message, hint, ((*path, "radius_range"),))
    elif ends.low.value * (1 - ROUNDING) <= depth + bore / 2:
        least = format_quantity(depth + bore / 2, unit="m", written=ends.low.written)
        message = f"must begin above {least}, where tyre and bore leave no hub"
        yield Mistake(
            (*path, "radius_range"), message, "a larger first end", ((*path, "tyre", "depth"), (*path, "bore"))
        )


def _geometry(path: KeyPath, table: WheelTable) -> Iterator[Mistake]:
    others = tuple((*path, name) for name in ("inertia", "width", "material", "density"))
    if table.width is None:
        message = "is missing: without `inertia` it takes width and material"
        yield Mistake((*path, "width"), message, 'for example width = "18 mm"', others)
    if table.material is None and table.density is None:
        message = "is missing: without `inertia` it takes width and material"
        yield Mistake((*path, "material"), message, 'for example material = "aluminium"', others)


def _tyre(path: KeyPath, table: WheelTable, tyre: TyreTable) -> Iterator[Mistake]:
    place = (*path, "tyre")
    yield from _material((*place, "material"), tyre.material, TYRE_MATERIALS, "`density` with `hardness` or `modulus`")
    if tyre.material is None:
        others = tuple((*place, name) for name in ("material", "density", "hardness", "modulus"))
        if tyre.density is None or (tyre.hardness is None and tyre.modulus is None):
            message = "is missing: name it, or give `density` with `hardness` or `modulus`"
            yield Mistake((*place, "material"), message, 'for example material = "nitrile 70"', others)
    if tyre.hardness is not None and tyre.modulus is not None:
        others = ((*place, "modulus"),)
        message = "is given as well as `modulus`, which it determines"
        yield Mistake((*place, "hardness"), message, "leave out one of them", others)
    if tyre.held_by == "stretch" and not tyre.stretch.value > 0:
        message = "is missing or 0: a tyre that is held by its stretch alone needs it"
        yield Mistake((*place, "stretch"), message, "for example stretch = 0.05", ((*place, "held_by"),))
    if tyre.held_by == "clamp":
        others = ((*place, "held_by"),)
        message = "is missing: a clamped tyre needs it"
        if table.width is None:
            yield Mistake((*path, "width"), message, 'for example width = "18 mm"', others)
        if tyre.clamp_force is None:
            yield Mistake((*place, "clamp_force"), message, 'for example clamp_force = "80 N"', others)


def _material(path: KeyPath, name: str | None, known: Mapping[str, object], others: str) -> Iterator[Mistake]:
    """Yield the problem of an unknown material; others: what to give instead of a name."""
    if name is None or name in known:
        return
    near = _same_at_another_hardness(name, known) or get_close_matches(name, known, n=1) or _named_within(name, known)
    hint = f'did you mean "{near[0]}"? ' if near else ""
    every = f"known: {', '.join(sorted(known))}; for others give {others} instead"
    yield Mistake(path, f'"{name}" is not in the table of materials', f"{hint}{every}")


def _named_within(name: str, known: Mapping[str, object]) -> list[str]:
    """Return the known materials that a word of `name` is a word of, as "PLA" is of "printed PLA"."""
    words = set(name.lower().split())
    return [one for one in sorted(known) if words & set(one.lower().split())]


def _same_at_another_hardness(name: str, known: Mapping[str, object]) -> list[str]:
    """Return the known hardnesses of a rubber, as in "silicone 30", nearest first."""
    rubber, _, hardness = name.rpartition(" ")
    if not hardness.isdecimal():
        return []
    others = {one: one.removeprefix(f"{rubber} ") for one in known if one.startswith(f"{rubber} ")}
    grades = {one: int(grade) for one, grade in others.items() if grade.isdecimal()}
    return sorted(grades, key=lambda one: abs(grades[one] - int(hardness)))


ROUNDING = 1e-9
"""Share by which equal lengths may differ after conversion to metres [-]."""
_FINS = ("fin_count", "fin_diameter", "fin_thickness", "fin_conductivity")


def stage(file: File, path: KeyPath, table: StageTable) -> Iterator[Mistake]:
    """Check crush against the projectile, side B against the layout, and wheels and drives."""
    yield from _crush(file, path, table)
    yield from _crush_range(file, path, table)
    layout = ((*path, "layout"),)
    if table.layout == "idler" and table.idler is None:
        hint = f'add [{"stage" if path == ("stage",) else "stages"}.idler] with inertia = "4e-5 kg m^2"'
        yield Mistake((*path, "idler"), 'is missing: layout "idler" needs the free wheel\'s inertia', hint, layout)
    if table.layout != "pair" and table.speed is not None and table.speed.side_b is not None:
        message = f'has two speeds, but layout "{table.layout}" has one driven wheel'
        yield Mistake((*path, "speed"), message, 'for example speed = "12 m/s"', layout)
    if table.pitch is not None and {"pitch", "clearance"} <= table.model_fields_set:
        others = ((*path, "clearance"),)
        message = "is given as well as `clearance`, which it determines"
        yield Mistake((*path, "pitch"), message, "leave out one of them", others)
    yield from wheel((*path, "wheel"), table.wheel)
    for number, option in enumerate(table.wheel_options):
        place = (*path, "wheel_options", number)
        yield from wheel(place, option)
        for name in ("radius_range", "inertia_range"):
            if getattr(option, name) is not None:
                yield Mistake((*place, name), "is of the wheel as written alone", "list a wheel of each size instead")
    if table.drive is not None:
        yield from _drive((*path, "drive"), table.drive)
    for number, choice in enumerate(table.drive_options):
        yield from _drive((*path, "drive_options", number), choice)
    both: tuple[tuple[str, list[WheelTable] | list[DriveTable]], ...] = (
        ("wheel", table.wheel_options), ("drive", table.drive_options),
    )  # fmt: skip
    for name, options in both:
        chosen = getattr(table, f"{name}_option")
        lists = ((*path, f"{name}_options"), (*path, f"{name}_list"))
        if isinstance(chosen, int) and chosen > len(options):
            message = f"there is no option {chosen}: {name}_options has {len(options)}"
            yield Mistake((*path, f"{name}_option"), message, f"0 is the {name} as written, 1 the first option", lists)
        if isinstance(chosen, str):
            yield from _named((*path, f"{name}_option"), chosen, [option.name for option in options], lists)


def _named(path: KeyPath, chosen: str, names: list[str], lists: tuple[KeyPath, ...]) -> Iterator[Mistake]:
    """Check that an option of a name is there, once."""
    if chosen in names and names.count(chosen) > 1:
        yield Mistake(path, f'"{chosen}" is the name of several options', "choose by number, 1 is the first one", lists)
    elif chosen not in names:
        near = get_close_matches(chosen, [name for name in names if name], n=1)
        hint = f'did you mean "{near[0]}"?' if near else "choose by number: 0 is the part as written"
        yield Mistake(path, f'there is no option "{chosen}"', hint, lists)


def _crush(file: File, path: KeyPath, table: StageTable) -> Iterator[Mistake]:
    thrown = file.projectile
    place, others = (*path, "crush"), (("projectile", "diameter"), ("projectile", "max_crush"))
    if table.crush.value >= thrown.diameter.value:
        bound = format_quantity(thrown.diameter.value, unit="m", written=table.crush.written)
        hint = 'crush is how much narrower than the projectile the gap is, for example "4 mm"'
        yield Mistake(place, f"must be less than the projectile's width of {bound}", hint, others)
    elif thrown.max_crush is not None and table.crush.value > thrown.max_crush.value * (1 + ROUNDING):
        bound = format_quantity(thrown.max_crush.value, unit="m", written=table.crush.written)
        yield Mistake(place, f"must not be above projectile.max_crush ({bound})", "widen the gap", others)


def _crush_range(file: File, path: KeyPath, table: StageTable) -> Iterator[Mistake]:
    """Check that the ends of a range are possible crushes, and that `crush` lies between them."""
    thrown, ends = file.projectile, table.crush_range
    if ends is None:
        return
    place, others = (*path, "crush_range"), (("projectile", "diameter"), ("projectile", "max_crush"))
    most, written = thrown.max_crush, ends.high.written
    if ends.high.value >= thrown.diameter.value:
        bound = format_quantity(thrown.diameter.value, unit="m", written=written)
        message = f"must end below the projectile's width of {bound}"
        yield Mistake(place, message, 'for example crush_range = ["2 mm", "6 mm"]', others)
    elif most is not None and ends.high.value > most.value * (1 + ROUNDING):
        bound = format_quantity(most.value, unit="m", written=written)
        message = f"must not end above projectile.max_crush ({bound})"
        yield Mistake(place, message, f'for example "{bound}" as its second end', others)
    elif not ends.low.value <= table.crush.value <= ends.high.value:
        low, high = (format_quantity(end.value, unit="m", written=end.written) for end in (ends.low, ends.high))
        message = f"must lie within crush_range, {low} to {high}"
        yield Mistake((*path, "crush"), message, f'for example crush = "{low}", or widen the range', (place,))


def _drive(path: KeyPath, drive: DriveTable) -> Iterator[Mistake]:
    """Check that fins are described in full or not at all, and replace case_to_air."""
    heat = drive.heat
    if heat is None:
        return
    given = [name for name in _FINS if getattr(heat, name) is not None]
    if given and len(given) < len(_FINS):
        lacking = [name for name in _FINS if name not in given]
        message, hint = f"needs {', '.join(lacking)} as well", "fins are described in full or not at all"
        yield Mistake((*path, "heat", given[0]), message, hint, tuple((*path, "heat", name) for name in lacking))
    if given and heat.case_to_air is not None:
        message = "is given as well as the fins, which determine it"
        yield Mistake((*path, "heat", "case_to_air"), message, "leave it out, or the fins")


def check(file: File) -> list[Mistake]:
    """Return the problems of a file whose single keys are right."""
    return [*projectile(file), *feed(file), *contact(file), *limits(file), *_stages(file)]


def _stages(file: File) -> Iterator[Mistake]:
    """Yield the problems of [stage], and those of each entry of [[stages]] that [stage] does not have."""
    common = list(stage(file, ("stage",), file.stage))
    yield from common
    said = {(problem.path[1:], problem.message) for problem in common}
    for number, entry in enumerate(file.stages):
        for problem in stage(file, ("stages", number), entry):
            if (problem.path[2:], problem.message) not in said:
                yield problem


SIZE = 250_000
"""Greatest size of a configuration [bytes]; this and the following limits keep parsing quick and messages short."""
LINE = 4000
"""Most characters of a line."""
NESTED = 12
"""Greatest depth of brackets."""
PARTS = 12
"""Most parts of a dotted key."""
ENTRIES = 1000
"""Most entries of a list."""
VALUES = 5000
"""Most values of a file."""
WORDS = 2000
"""Most characters of a text."""
NAME = 100
"""Most characters of a key."""
_START = "`stager new DIR` writes a configuration to start from"
_REPEATED = ("Cannot overwrite", "Cannot declare", "Cannot mutate", "Cannot redefine")
_TWICE = "each key, and the head of each table, stands once: leave one out"
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


def read_text(path: Path) -> tuple[str, str]:
    """Return the text and SHA-256 of a file. Raises InputErrors where it is missing or cannot be read."""
    where = str(path)
    try:
        data = read_bytes(path, SIZE)
        text = data.decode("utf-8-sig")
    except FileNotFoundError:
        raise _error("there is no such file", where, _START) from None
    except IsADirectoryError:
        raise _error("is a directory, not a configuration file", where, f"name a file in it; {_START}") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise _error("is not text in UTF-8", f"{where}:{line}", "save the file as UTF-8") from None
    except InputError as error:
        raise InputErrors([error]) from None
    except OSError as error:
        raise _error(f"cannot be read ({error.strerror})", where, _START) from None
    except ValueError as error:
        raise _error(f"is not a path ({error})", where, _START) from None
    if not text.strip():
        raise _error("the file is empty", where, _START)
    return text, hashlib.sha256(data).hexdigest()


def read_tree(path: Path, text: str) -> dict[str, Any]:
    """Return the TOML tree of a text. Raises InputErrors with the line where it is not TOML."""
    _check_shape(path, text)
    try:
        tree = tomllib.loads(text)
    except ValueError as error:
        message = str(error)
        found = _PLACE.search(message)
        line = int(found[1]) if found and found[1] else len(text.rstrip().splitlines())
        plain = _PLACE.sub("", message)
        plain = plain[:1].lower() + plain[1:]
        hint = _TWICE if message.startswith(_REPEATED) else _hint(text, line)
        raise _error(f"not TOML: {plain}", f"{path}:{line}", hint) from None
    problem = next(_too_large(tree), None)
    if problem is not None and not problem.path:
        raise _error(problem.message, f"{path}:1", problem.hint)
    if problem is not None:
        raise place(str(path), text, [problem])
    return tree


def _check_shape(path: Path, text: str) -> None:
    """Raise InputErrors where lines or nesting exceed what tomllib parses quickly."""
    line = depth = dots = 0
    for line, written in enumerate(text.split("\n"), 1):
        if len(written) > LINE:
            raise _error(f"is a line of more than {LINE} characters", f"{path}:{line}", "break it into several")
    line = 1
    for kind, part in tokens(text):
        depth = max(0, depth + {"open": 1, "close": -1}.get(kind, 0))
        if kind in ("open", "close", "end"):
            dots = 0
        elif kind == "other":
            for number, piece in enumerate(re.split("[=,]", part)):
                dots = piece.count(".") + (dots if number == 0 else 0)
                if dots >= PARTS:
                    break
        if depth > NESTED or dots >= PARTS:
            raise _error("not TOML: nested too deeply", f"{path}:{line}", f"tables are at most {PARTS} deep")
        line += part.count("\n")


def _too_large(tree: dict[str, Any]) -> Iterator[Mistake]:
    """Yield lists, texts and keys that are larger than any configuration needs."""
    left: list[tuple[KeyPath, Any]] = [((), tree)]
    # Beside the values, the whole tree and an empty list are looked at.
    for seen in range(VALUES + 2):
        if not left:
            return
        path, value = left.pop()
        if isinstance(value, list) and len(value) > ENTRIES:
            yield Mistake(path, f"has more than {ENTRIES} entries (got {len(value)})", "leave some out")
        elif isinstance(value, str) and len(value) > WORDS:
            yield Mistake(path, f"is longer than {WORDS} characters", "shorten it")
        elif isinstance(value, dict) and (long := next((key for key in value if len(key) > NAME), None)):
            yield Mistake(path, f'has a key of more than {NAME} characters ("{long[:20]}…")', "no key is that long")
        elif seen + len(left) > VALUES:
            break
        else:
            inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
            left += [((*path, key), item) for key, item in inner]
    yield Mistake((), f"the file holds more than {VALUES} values", "leave some out")


def _hint(text: str, line: int) -> str:
    written = text.splitlines()[line - 1] if line <= len(text.splitlines()) else ""
    bare = re.match(r"\s*([\w.-]+)\s*=\s*([+-]?[\d.].*?)\s*(#.*)?$", written)
    if bare:
        return f'text and quantities stand in quotes: {bare[1]} = "{bare[2]}"'
    return 'a table begins with [name]; a line in it is key = value; quantities stand in quotes: mass = "18 g"'


def _error(message: str, where: str, hint: str) -> InputErrors:
    return InputErrors([InputError(message, where=where, hint=hint)])


def load(path: str | Path) -> Configuration:
    """Return the configuration at `path`. Raises InputErrors with all its problems, each with its line and a hint."""
    path = Path(path)
    text, sha256 = read_text(path)
    return understand(path, text, sha256)


def understand(
    path: Path, text: str, sha256: str, *, with_draws: bool = True, folder: Path | None = None
) -> Configuration:  # fmt: skip
    """Return a configuration from its text. Raises InputErrors as `load` does, which name `path`.

    folder : where its lists are, that of `path` by default.
    """
    raw = read_tree(path, text)
    lists = read_lists(path, text, raw, folder)
    file, problems = _check_tree(lists.tree)
    if file is None or problems:
        raise lists.place(str(path), text, problems)
    draws = read_draws(path, text, file, lists.tree) if with_draws else None
    return Configuration(
        path=path, text=text, sha256=sha256, raw=raw, tree=lists.tree, file=file, lists=lists.names, draws=draws
    )


def _check_tree(raw: Mapping[str, Any]) -> tuple[File | None, list[Mistake]]:
    """Return the checked file and its problems; where single keys are wrong, also problems across the others."""
    tree = merged(raw)
    try:
        file = File.model_validate(tree)
    except ValidationError as error:
        problems = explain(raw, error)
        mended, touched = repair(tree, findings(error))
        touched += meant(error.errors(include_url=False))
        if mended is not None:
            problems += [problem for problem in check(mended) if not problem.rests_on(touched)]
        return None, [*problems, *refuse(raw)]
    return file, [*check(file), *refuse(raw)]
