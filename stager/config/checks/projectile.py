"""What a shape must have, and what it cannot have."""

from __future__ import annotations

from collections.abc import Iterator

from stager.config.machine import File
from stager.config.problem import Problem

FLAT = ("disc", "ring")


def projectile(file: File) -> Iterator[Problem]:
    """A rod has a length; discs and rings have a thickness, and need it where energy per area is limited."""
    thrown, shape = file.projectile, ("projectile", "shape")
    if thrown.shape == "rod" and thrown.length is None:
        yield Problem(("projectile", "length"), "is missing: a rod needs it", 'for example length = "60 mm"', (shape,))
    if thrown.shape != "rod" and thrown.length is not None:
        yield Problem(("projectile", "length"), f"belongs to a rod, not to a {thrown.shape}", "leave it out", (shape,))
    flat = thrown.shape in FLAT
    if not flat and thrown.thickness is not None:
        message = f"belongs to a disc or ring, not to a {thrown.shape}"
        yield Problem(("projectile", "thickness"), message, "leave it out", (shape,))
    if flat and file.limits.energy_per_area is not None and thrown.thickness is None:
        message = f"is missing: limits.energy_per_area of a {thrown.shape} needs it"
        others = (shape, ("limits", "energy_per_area"))
        yield Problem(("projectile", "thickness"), message, 'for example thickness = "8 mm"', others)
    if flat and file.measuring is not None and file.measuring.distance.value and thrown.thickness is None:
        message = f"is missing: air slows a {thrown.shape} over measuring.distance"
        others = (shape, ("measuring", "distance"))
        yield Problem(("projectile", "thickness"), message, 'for example thickness = "8 mm"', others)
    if thrown.max_crush is not None and thrown.max_crush.value >= thrown.diameter.value:
        width = (("projectile", "diameter"),)
        yield Problem(("projectile", "max_crush"), "must be less than the diameter", 'for example "5 mm"', width)
