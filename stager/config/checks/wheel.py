"""A wheel and its tyre."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import get_close_matches

from stager.config.lines import Path
from stager.config.machine import Tyre, Wheel
from stager.config.problem import Problem
from stager.physics.materials import TYRE_MATERIALS, WHEEL_MATERIALS


def wheel(path: Path, table: Wheel) -> Iterator[Problem]:
    """Its inertia is known; bore, hub and tyre fit into each other; materials are known."""
    yield from _material((*path, "material"), table.material, WHEEL_MATERIALS)
    if table.inertia is None:
        yield from _geometry(path, table)
    depth = 0.0 if table.tyre is None else table.tyre.depth.value
    radius = ((*path, "radius"),)
    if depth >= table.radius.value:
        yield Problem((*path, "tyre", "depth"), "must be less than the wheel's radius", 'for example "3 mm"', radius)
    elif table.bore is not None and table.bore.value / 2 >= table.radius.value - depth:
        others, hint = (*radius, (*path, "tyre", "depth")), 'for example bore = "5 mm"'
        yield Problem((*path, "bore"), "must be smaller than the hub, which is what the tyre leaves", hint, others)
    if table.tyre is not None:
        yield from _tyre(path, table, table.tyre)


def _geometry(path: Path, table: Wheel) -> Iterator[Problem]:
    others = tuple((*path, name) for name in ("inertia", "width", "material", "density"))
    if table.width is None:
        message = "is missing: without `inertia` it takes width and material"
        yield Problem((*path, "width"), message, 'for example width = "18 mm"', others)
    if table.material is None and table.density is None:
        message = "is missing: without `inertia` it takes width and material"
        yield Problem((*path, "material"), message, 'for example material = "aluminium"', others)


def _tyre(path: Path, table: Wheel, tyre: Tyre) -> Iterator[Problem]:
    place = (*path, "tyre")
    yield from _material((*place, "material"), tyre.material, TYRE_MATERIALS)
    if tyre.material is None:
        others = tuple((*place, name) for name in ("material", "density", "hardness", "modulus"))
        if tyre.density is None or (tyre.hardness is None and tyre.modulus is None):
            message = "is missing: name it, or give `density` with `hardness` or `modulus`"
            yield Problem((*place, "material"), message, 'for example material = "nitrile 70"', others)
    if tyre.hardness is not None and tyre.modulus is not None:
        others = ((*place, "modulus"),)
        message = "says the same as `modulus` in another way"
        yield Problem((*place, "hardness"), message, "leave out one of them", others)
    if tyre.held_by == "clamp":
        others = ((*place, "held_by"),)
        message = "is missing: a clamped tyre needs it"
        if table.width is None:
            yield Problem((*path, "width"), message, 'for example width = "18 mm"', others)
        if tyre.clamp_force is None:
            yield Problem((*place, "clamp_force"), message, 'for example clamp_force = "80 N"', others)


def _material(path: Path, name: str | None, known: Mapping[str, object]) -> Iterator[Problem]:
    if name is None or name in known:
        return
    near = get_close_matches(name, known, n=1)
    hint = f'did you mean "{near[0]}"? ' if near else ""
    yield Problem(path, f'"{name}" is not in the table of materials', f"{hint}known: {', '.join(sorted(known))}")
