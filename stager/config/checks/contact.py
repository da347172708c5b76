"""Stiffness and exponent belong together; the points of a measured friction law must be in order."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from stager.config.lines import Path
from stager.config.machine import File
from stager.config.problem import Problem
from stager.config.tables import TabulatedFriction
from stager.units import stiffness_unit


def contact(file: File) -> Iterator[Problem]:
    """The unit of the stiffness fits the exponent; friction laws are whole."""
    table = file.contact
    unit = stiffness_unit(table.exponent.value)
    if table.stiffness.unit != unit:
        message = f"is in {table.stiffness.unit}, but exponent {table.exponent.value:g} needs {unit}"
        yield Problem(("contact", "stiffness"), message, f'for example "40000 {unit}"', (("contact", "exponent"),))
    for key, law in (("friction", table.friction), ("rail_friction", table.rail_friction)):
        if isinstance(law, TabulatedFriction):
            yield from _points(("contact", key), law)


def _points(path: Path, law: TabulatedFriction) -> Iterator[Problem]:
    slips = [point.value for point in law.slip]
    others = ((*path, "slip"),)
    if len(slips) != len(law.coefficient):
        message = f"has {len(law.coefficient)} values for {len(slips)} slip speeds"
        yield Problem((*path, "coefficient"), message, "write one coefficient for each slip speed", others)
    if any(later <= earlier for earlier, later in pairwise(slips)):
        yield Problem((*path, "slip"), "must rise from point to point", 'for example ["0 m/s", "2 m/s", "10 m/s"]')
    for name, points in (("slip", law.slip), ("coefficient", law.coefficient)):
        if any(point.standard_uncertainty for point in points):
            yield Problem((*path, name), "has points without ± only", "take another law where friction is uncertain")
