"""What every friction law has in common."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field, fields, replace
from typing import Any, ClassVar, Self

import numpy as np

from stager.model.arrays import Floats, Number
from stager.physics.compiled import plain

Formula = Callable[[Any, Any], tuple[Any, Any]]
"""Coefficient [-] and slope [s/m] from slip speed [m/s] and the law's values in the order of its fields.

One source serves single numbers (compiled) and arrays (as plain Python): NumPy functions, no branches.
"""
RANGES = {
    "coefficient": (0.0, 5.0, "-"), "speed": (1e-4, 1e3, "m/s"), "shape": (1e-2, 1e2, "-"),
}  # fmt: skip
"""Kinds of parameters: least and greatest value that makes sense, unit."""


def parameter(kind: str, help: str, *, key: str = "", default: float | None = None) -> Any:
    """Declare a parameter of a law.

    Parameters
    ----------
    kind : str
        One of `RANGES`.
    help : str
        What it is, for the schema.
    key : str
        Its key in a configuration; empty: the field's name.
    default : float, optional
        Value where it is left out.
    """
    low, high, unit = RANGES[kind]
    metadata = {"kind": kind, "key": key, "unit": unit, "low": low, "high": high, "help": help}
    return field(metadata=metadata) if default is None else field(default=default, metadata=metadata)


class Law:
    """A friction law: a frozen record of its parameters with `name`, `source` and `formulas`.

    formulas: the ways to evaluate it, of which `formula` says the one for its values.
    """

    __slots__ = ()
    name: ClassVar[str]
    source: ClassVar[str]
    formulas: ClassVar[tuple[Formula, ...]]

    @property
    def formula(self) -> int:
        """Which of `formulas` evaluates the law."""
        return 0

    def values(self) -> tuple[Number, ...]:
        """Return the parameters in the order of the fields, each a float or an array over the batch."""
        return tuple(getattr(self, item.name) for item in fields(self))  # type: ignore[arg-type]

    def coefficient(self, slip: Floats, *, steep: bool = True) -> tuple[Floats, Floats]:
        """Return the coefficient and its slope.

        Parameters
        ----------
        slip : array
            Slip speed, at least 0 [m/s].
        steep : bool
            Whether the slope is needed; otherwise its place may hold anything.

        Returns
        -------
        coefficient, slope : array, shape as `slip`
            [-] and [s/m].
        """
        value, slope = plain(self.formulas[self.formula])(slip, self.values())
        return value, slope

    def scaled(self, factor: Number) -> Self:
        """Return the same law with all coefficients times `factor`, a float or an array over the batch [-]."""
        mine = [item.name for item in fields(self) if item.metadata.get("kind") == "coefficient"]  # type: ignore[arg-type]
        return replace(self, **{name: getattr(self, name) * factor for name in mine})  # type: ignore[type-var]

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] from no slip to `slip` [m/s]; shape as `slip`."""
        raise NotImplementedError


def tables(law: Any) -> Floats:
    """Return points of a law that is known by its `coefficient` alone: slips, coefficients and slopes, shape (3, n)."""
    slip = np.concatenate([[0.0], np.geomspace(*SAMPLED, POINTS - 1)])
    value, slope = law.coefficient(slip)
    return np.stack(np.broadcast_arrays(slip, value, slope))


SAMPLED, POINTS = (1e-5, 1e4), 1000
"""Slip speeds [m/s] between which such a law is sampled, evenly in the logarithm, and number of points."""
