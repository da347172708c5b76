"""Coulomb friction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.compiled import inlined
from stager.physics.friction.law import Formula, Law, parameter


@inlined
def constant(slip, values):  # type: ignore[no-untyped-def]
    """Return μ [-] and its slope, 0 [s/m]."""
    none = np.minimum(slip, 0.0)
    return values[0] + none, none


@dataclass(frozen=True, slots=True)
class Constant(Law):
    """One coefficient at every slip speed (Coulomb)."""

    name: ClassVar[str] = "constant"
    source: ClassVar[str] = "Coulomb 1785; the textbook law"
    formulas: ClassVar[tuple[Formula, ...]] = (constant,)
    friction: Number = parameter("coefficient", "of friction, at every slip speed", key="coefficient")

    def greatest(self, slip: Floats) -> Floats:
        """Return the coefficient [-]; shape as `slip`."""
        return np.broadcast_to(self.friction, slip.shape)
