"""NIST StRD sets for nonlinear regression, read from their files (public domain, itl.nist.gov/div898/strd)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FOLDER = Path(__file__).parent / "nist"
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Certified:
    """Two starts, certified values and standard deviations (p,), residual sum of squares, data."""

    name: str
    starts: Array
    values: Array
    deviations: Array
    squares: float
    y: Array
    x: Array


def read(name: str) -> Certified:
    lines = (FOLDER / f"{name}.dat").read_text().splitlines()
    rows = [line.split("=")[1].split() for line in lines if re.match(r"^\s*b\d+ =", line)]
    table = np.array(rows, dtype=np.float64)
    squares = next(float(line.split(":")[1]) for line in lines if line.startswith("Residual Sum of Squares"))
    data = np.array([line.split() for line in lines[60:] if line.strip()], dtype=np.float64)
    return Certified(name, table[:, :2].T, table[:, 2], table[:, 3], squares, data[:, 0], data[:, 1])


def _rational(b: Array, x: Array) -> Array:
    above = b[..., 0:1] + x * (b[..., 1:2] + x * (b[..., 2:3] + x * b[..., 3:4]))
    return above / (1 + x * (b[..., 4:5] + x * (b[..., 5:6] + x * b[..., 6:7])))


def model(name: str, b: Array, x: Array) -> Array:
    """Return the values of a set's model for parameters (samples, p) at x (n,), shape (samples, n)."""
    p = [b[..., k : k + 1] for k in range(b.shape[-1])]
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        match name:
            case "Misra1a":
                return p[0] * (1 - np.exp(-p[1] * x))
            case "DanWood":
                return p[0] * x ** p[1]
            case "Rat42":
                return p[0] / (1 + np.exp(p[1] - p[2] * x))
            case "MGH10":
                return p[0] * np.exp(p[1] / (x + p[2]))
            case "MGH17":
                return p[0] + p[1] * np.exp(-x * p[3]) + p[2] * np.exp(-x * p[4])
            case _:
                return _rational(b, x)
