"""Friction laws. To add one, write its record and its formula here and add it to REGISTERED."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from functools import cache
from typing import Any, ClassVar, Self

import numpy as np

from stager.model.arrays import Floats, Number

Formula = Callable[[Any, Any], tuple[Any, Any]]
"""Coefficient [-] and slope [s/m] from slip speed [m/s] and the law's values in the order of its fields.

The same source serves numbers (`contact.equations` compiles it) and arrays (plain Python): NumPy functions and no
branches.
"""
RANGES = {
    "coefficient": (0.0, 5.0, "-"), "speed": (1e-4, 1e3, "m/s"), "shape": (1e-2, 1e2, "-"),
}  # fmt: skip
"""Kinds of parameters: least and greatest accepted value, unit."""


def parameter(kind: str, help: str, *, key: str = "", default: float | None = None) -> Any:
    """Return the dataclass field of a law's parameter.

    Parameters
    ----------
    kind : str
        One of `RANGES`.
    help : str
        Description in the schema.
    key : str
        Its key in a configuration; empty: the field's name.
    default : float, optional
        Value where the configuration leaves it out.
    """
    low, high, unit = RANGES[kind]
    metadata = {"kind": kind, "key": key, "unit": unit, "low": low, "high": high, "help": help}
    return field(metadata=metadata) if default is None else field(default=default, metadata=metadata)


class Law(ABC):
    """A friction law: a frozen record of its parameters with `name`, `source` and `formulas`.

    formulas: functions that evaluate it; `formula` is the index of the one for its values.
    """

    __slots__ = ()
    name: ClassVar[str]
    source: ClassVar[str]
    formulas: ClassVar[tuple[Formula, ...]]

    @property
    def formula(self) -> int:
        """Return the index in `formulas` of the one that evaluates the law."""
        return 0

    def values(self) -> tuple[Number, ...]:
        """Return the parameters in the order of the fields, each a float or an array over the batch."""
        kind: Any = type(self)
        return tuple(getattr(self, name) for name in _names(kind))

    def coefficient(self, slip: Floats, *, with_slope: bool = True) -> tuple[Floats, Floats]:
        """Return the coefficient and its slope.

        Parameters
        ----------
        slip : array
            Slip speed, at least 0 [m/s].
        with_slope : bool
            Whether the slope is needed; if not, its value may be anything.

        Returns
        -------
        coefficient, slope : array, shape as `slip`
            [-] and [s/m].
        """
        value, slope = self.formulas[self.formula](slip, self.values())
        return value, slope

    def scaled(self, factor: Number) -> Self:
        """Return the same law with all coefficients times `factor`, a float or an array over the batch [-]."""
        coefficients = [item.name for item in fields(self) if item.metadata.get("kind") == "coefficient"]  # type: ignore[arg-type]
        return replace(self, **{name: getattr(self, name) * factor for name in coefficients})  # type: ignore[type-var]

    @abstractmethod
    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] from no slip to `slip` [m/s]; shape as `slip`."""


@cache
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(item.name for item in fields(kind))


def tables(law: Any) -> Floats:
    """Return samples of a law through its `coefficient`: slips, coefficients and slopes, shape (3, n)."""
    slip = np.concatenate([[0.0], np.geomspace(*SAMPLED_RANGE, SAMPLES - 1)])
    value, slope = law.coefficient(slip)
    return np.stack(np.broadcast_arrays(slip, value, slope))


SAMPLED_RANGE = (1e-5, 1e4)
"""Slip speeds between which such a law is sampled [m/s], evenly in the logarithm."""
SAMPLES = 1000
"""Number of samples [-]: the error of a smooth law is about 1e-9."""


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
        """Return the coefficient [-], at every slip [m/s]; shape as `slip`."""
        return np.broadcast_to(self.friction, slip.shape)


def fading(slip, values):  # type: ignore[no-untyped-def]
    """Return μ_k + (μ_s − μ_k) exp(−s/s_f) [-] and its slope [s/m]."""
    pace = -1.0 / values[2]
    part = (values[0] - values[1]) * np.exp(slip * pace)
    return values[1] + part, part * pace


def fading_sharply(slip, values):  # type: ignore[no-untyped-def]
    """Return μ_k + (μ_s − μ_k) exp(−(s/s_f)^j) [-] and its slope [s/m]."""
    ratio = np.maximum(slip / values[2], 1e-12)
    raised = np.exp(values[3] * np.log(ratio))
    part = (values[0] - values[1]) * np.exp(-raised)
    return values[1] + part, -part * values[3] * raised / (ratio * values[2])


@dataclass(frozen=True, slots=True)
class Falling(Law):
    """μ(s) = μ_k + (μ_s − μ_k) exp(−(s/s_f)^j): the Stribeck form without viscous term."""

    name: ClassVar[str] = "falling"
    source: ClassVar[str] = "the Stribeck curve without viscous term; exponent 1 as in the Modelica Standard Library"
    formulas: ClassVar[tuple[Formula, ...]] = (fading, fading_sharply)
    static: Number = parameter("coefficient", "coefficient at little slip")
    sliding: Number = parameter("coefficient", "coefficient at much slip")
    fade_speed: Number = parameter("speed", "slip speed over which it falls")
    fade_exponent: Number = parameter("shape", "how sharply it falls", default=1.0)

    @property
    def formula(self) -> int:
        """Return 0, the shorter formula, where the fade exponent is 1, else 1."""
        return 0 if isinstance(self.fade_exponent, float) and self.fade_exponent == 1.0 else 1

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] at slips from 0 to `slip` [m/s]; it is at one end."""
        return np.maximum(self.static, self.coefficient(slip)[0])


def bell(slip, values):  # type: ignore[no-untyped-def]
    """Return peak · exp(−(ln(s/peak_speed)/width)²) [-] and its slope [s/m]."""
    positive = np.maximum(slip, 1e-100)
    logarithm = np.log(positive / values[1]) / values[2]
    coefficient = values[0] * np.exp(-(logarithm * logarithm))
    return coefficient, -2.0 * coefficient * logarithm / (values[2] * positive)


@dataclass(frozen=True, slots=True)
class Bell(Law):
    """μ(s) = peak · exp(−(ln(s/peak_speed)/width)²), 0 at s = 0; a bell over ln s through one maximum."""

    name: ClassVar[str] = "bell"
    source: ClassVar[str] = "after Grosch, Proc. R. Soc. A 274, 1963; the form is ours"
    formulas: ClassVar[tuple[Formula, ...]] = (bell,)
    peak: Number = parameter("coefficient", "greatest coefficient")
    peak_speed: Number = parameter("speed", "slip speed of the peak")
    width: Number = parameter("shape", "of the peak, in the natural logarithm of slip")

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] at slips from 0 to `slip` [m/s]; at the peak or below it."""
        return self.coefficient(np.minimum(slip, self.peak_speed))[0]


def rising(slip, values):  # type: ignore[no-untyped-def]
    """Return μ_0 + (μ_∞ − μ_0)(1 − exp(−s/s_r)) [-] and its slope [s/m]."""
    pace = 1.0 / values[2]
    left = (values[1] - values[0]) * np.exp(-slip * pace)
    return values[1] - left, left * pace


@dataclass(frozen=True, slots=True)
class Rising(Law):
    """μ(s) = μ_0 + (μ_∞ − μ_0)(1 − exp(−s/s_r)): soft rubber below its peak."""

    name: ClassVar[str] = "rising"
    source: ClassVar[str] = "ours: a first-order rise to a plateau, for rubber below the peak of Grosch 1963"
    formulas: ClassVar[tuple[Formula, ...]] = (rising,)
    static: Number = parameter("coefficient", "coefficient at little slip")
    sliding: Number = parameter("coefficient", "coefficient at much slip")
    rise_speed: Number = parameter("speed", "slip speed over which it rises")

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] at slips from 0 to `slip` [m/s]; it is at one end."""
        return np.maximum(self.static, self.coefficient(slip)[0])


def curve(slip, values):  # type: ignore[no-untyped-def]
    """Return the cubic Hermite curve through points [-] and its slope [s/m] at one slip, constant beyond the ends.

    values: number of points n, then n slips, n coefficients and n slopes; further values are ignored.
    """
    count = int(values[0])
    if slip <= values[1]:
        return values[1 + count], 0.0
    if slip >= values[count]:
        return values[2 * count], 0.0
    before, after = 1, count
    while after - before > 1:
        middle = (before + after) // 2
        if values[middle] <= slip:
            before = middle
        else:
            after = middle
    span = values[after] - values[before]
    share = (slip - values[before]) / span
    first, last = values[count + before], values[count + after]
    rise, end = span * values[2 * count + before], span * values[2 * count + after]
    bend, turn = 3.0 * (last - first) - 2.0 * rise - end, 2.0 * (first - last) + rise + end
    value = first + share * (rise + share * (bend + share * turn))
    return value, (rise + share * (2.0 * bend + share * 3.0 * turn)) / span


def packed(slip: Floats, friction: Floats, slope: Floats) -> Floats:
    """Return points, slips in [m/s], as the values of `curve`, shape (1 + 3n,)."""
    return np.concatenate([[float(len(slip))], slip, friction, slope])


@dataclass(frozen=True, slots=True)
class Tabulated(Law):
    """Shape-preserving cubic (PCHIP) through measured points, constant beyond the ends.

    slip: increasing slip speeds [m/s], shape (points,); friction: coefficients there [-], shape (points,).
    """

    name: ClassVar[str] = "tabulated"
    source: ClassVar[str] = "Fritsch & Carlson, SIAM J. Numer. Anal. 17, 1980 (the interpolation)"
    formulas: ClassVar[tuple[Formula, ...]] = (curve,)
    slip: tuple[float, ...]
    friction: tuple[float, ...]
    _factor: Number = field(default=1.0, repr=False)
    _curve: Any = field(init=False, repr=False, compare=False)
    _slope: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        from scipy.interpolate import PchipInterpolator

        curve = PchipInterpolator(self.slip, self.friction)
        object.__setattr__(self, "_curve", curve)
        object.__setattr__(self, "_slope", curve.derivative())

    def values(self) -> tuple[Number, ...]:
        """Return the points as the values of `curve`."""
        slip = np.asarray(self.slip, dtype=np.float64)
        plain = packed(slip, np.asarray(self.friction, dtype=np.float64), self._slope(slip))
        head = 1 + len(self.slip)
        return (*plain[:head], *(value * self._factor for value in plain[head:]))

    def scaled(self, factor: Number) -> Self:
        """Return the same law with all coefficients times `factor`, see `Law.scaled`."""
        return replace(self, _factor=self._factor * factor)

    def coefficient(self, slip: Floats, *, with_slope: bool = True) -> tuple[Floats, Floats]:
        """Return the coefficient [-] and its slope [s/m]; see `Law.coefficient`."""
        low, high = self.slip[0], self.slip[-1]
        held = np.clip(slip, low, high)
        value: Floats = self._curve(held) * self._factor
        if not with_slope:
            return value, value
        return value, np.where((slip > low) & (slip < high), self._slope(held), 0.0) * self._factor

    def greatest(self, slip: Floats) -> Floats:
        """Return the greatest coefficient [-] at slips from 0 to `slip` [m/s]; pieces are monotonic."""
        passed = np.concatenate([self.friction[:1], np.maximum.accumulate(self.friction)])
        at = np.searchsorted(self.slip, slip, side="right")
        return np.asarray(np.maximum(passed[at] * self._factor, self.coefficient(slip)[0]))


REGISTERED: tuple[type[Law], ...] = (Constant, Falling, Bell, Rising, Tabulated)
"""All laws, in the order of schema and screens."""
LAWS = {law.name: law for law in REGISTERED}
"""The same by name."""
FORMULAS: tuple[Formula, ...] = tuple(formula for law in REGISTERED for formula in law.formulas)
"""All formulas; a kernel identifies a formula by its index here."""
