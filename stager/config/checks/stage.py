"""A stage, its wheel and its drive."""

from __future__ import annotations

from collections.abc import Iterator

from stager.config.checks.wheel import wheel
from stager.config.lines import Path
from stager.config.machine import Drive, File, Stage
from stager.config.problem import Problem
from stager.units import format_quantity

ROUNDING = 1e-9
"""Share by which equal lengths may differ once each is in metres [-]."""
_FINS = ("fin_count", "fin_diameter", "fin_thickness", "fin_conductivity")


def stage(file: File, path: Path, table: Stage) -> Iterator[Problem]:
    """Crush and its range fit the projectile, side B fits the layout; wheel and drive are whole."""
    yield from _crush(file, path, table)
    yield from _crush_range(file, path, table)
    layout = ((*path, "layout"),)
    if table.layout == "idler" and table.idler is None:
        hint = f'add [{"stage" if path == ("stage",) else "stages"}.idler] with inertia = "4e-5 kg m^2"'
        yield Problem((*path, "idler"), 'is missing: layout "idler" needs the free wheel\'s inertia', hint, layout)
    if table.layout != "pair" and table.speed is not None and table.speed.side_b is not None:
        message = f'has two speeds, but layout "{table.layout}" has one driven wheel'
        yield Problem((*path, "speed"), message, 'for example speed = "12 m/s"', layout)
    if table.pitch is not None and {"pitch", "clearance"} <= table.model_fields_set:
        others = ((*path, "clearance"),)
        yield Problem((*path, "pitch"), "says the same as `clearance` in another way", "leave out one of them", others)
    yield from wheel((*path, "wheel"), table.wheel)
    for number, option in enumerate(table.wheel_options):
        yield from wheel((*path, "wheel_options", number), option)
    if table.drive is not None:
        yield from _drive((*path, "drive"), table.drive)
    for number, choice in enumerate(table.drive_options):
        yield from _drive((*path, "drive_options", number), choice)
    for name, options in (("wheel", table.wheel_options), ("drive", table.drive_options)):
        number = getattr(table, f"{name}_option")
        if number is not None and number > len(options):
            lists = ((*path, f"{name}_options"),)
            message = f"there is no option {number}: {name}_options has {len(options)}"
            yield Problem((*path, f"{name}_option"), message, f"0 is the {name} as written, 1 the first option", lists)


def _crush(file: File, path: Path, table: Stage) -> Iterator[Problem]:
    thrown = file.projectile
    place, others = (*path, "crush"), (("projectile", "diameter"), ("projectile", "max_crush"))
    if table.crush.value >= thrown.diameter.value:
        bound = format_quantity(thrown.diameter.value, unit="m", written=table.crush.written)
        hint = 'crush is how much narrower than the projectile the gap is, for example "4 mm"'
        yield Problem(place, f"must be less than the projectile's width of {bound}", hint, others)
    elif thrown.max_crush is not None and table.crush.value > thrown.max_crush.value * (1 + ROUNDING):
        bound = format_quantity(thrown.max_crush.value, unit="m", written=table.crush.written)
        yield Problem(place, f"must not be above projectile.max_crush ({bound})", "widen the gap", others)


def _crush_range(file: File, path: Path, table: Stage) -> Iterator[Problem]:
    """Its ends are crushes that there may be, and `crush` lies between them."""
    thrown, ends = file.projectile, table.crush_range
    if ends is None:
        return
    place, others = (*path, "crush_range"), (("projectile", "diameter"), ("projectile", "max_crush"))
    most, written = thrown.max_crush, ends.high.written
    if ends.high.value >= thrown.diameter.value:
        bound = format_quantity(thrown.diameter.value, unit="m", written=written)
        message = f"must end below the projectile's width of {bound}"
        yield Problem(place, message, 'for example crush_range = ["2 mm", "6 mm"]', others)
    elif most is not None and ends.high.value > most.value * (1 + ROUNDING):
        bound = format_quantity(most.value, unit="m", written=written)
        message = f"must not end above projectile.max_crush ({bound})"
        yield Problem(place, message, f'for example "{bound}" as its second end', others)
    elif not ends.low.value <= table.crush.value <= ends.high.value:
        low, high = (format_quantity(end.value, unit="m", written=end.written) for end in (ends.low, ends.high))
        message = f"must lie within crush_range, {low} to {high}"
        yield Problem((*path, "crush"), message, f'for example crush = "{low}", or widen the range', (place,))


def _drive(path: Path, drive: Drive) -> Iterator[Problem]:
    """Fins are described in full or not at all."""
    heat = drive.heat
    if heat is None:
        return
    given = [name for name in _FINS if getattr(heat, name) is not None]
    if given and len(given) < len(_FINS):
        lacking = ", ".join(name for name in _FINS if name not in given)
        yield Problem((*path, "heat", given[0]), f"needs {lacking} as well", "fins are described in full or not at all")
    if given and heat.case_to_air is not None:
        message = "says in another way what the fins say"
        yield Problem((*path, "heat", "case_to_air"), message, "leave it out, or the fins")
