"""Units that a head may name: a small closed list, so that the core needs no library for it."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """SI value = factor × number + offset."""

    factor: float
    offset: float = 0.0

    def to_si(self, number: float) -> float:
        """A number as written, in SI."""
        return number * self.factor + self.offset

    def from_si(self, value: float) -> float:
        """An SI value in this unit."""
        return (value - self.offset) / self.factor


SPEEDS = {
    "m/s": Unit(1.0), "cm/s": Unit(0.01), "mm/s": Unit(0.001), "km/h": Unit(1 / 3.6), "kph": Unit(1 / 3.6),
    "ft/s": Unit(0.3048), "fps": Unit(0.3048), "mph": Unit(0.44704),
}  # fmt: skip
TURNING = {
    "rpm": Unit(math.pi / 30), "1/min": Unit(math.pi / 30), "rev/min": Unit(math.pi / 30),
    "krpm": Unit(1000 * math.pi / 30), "rev/s": Unit(2 * math.pi), "rps": Unit(2 * math.pi), "rad/s": Unit(1.0),
    "deg/s": Unit(math.pi / 180),
}  # fmt: skip
SHARES = {"%": Unit(0.01), "-": Unit(1.0)}
VOLTS = {"V": Unit(1.0), "mV": Unit(0.001)}
TEMPERATURES = {
    "degC": Unit(1.0, 273.15), "°C": Unit(1.0, 273.15), "C": Unit(1.0, 273.15), "K": Unit(1.0),
    "degF": Unit(5 / 9, 459.67 * 5 / 9), "°F": Unit(5 / 9, 459.67 * 5 / 9),
}  # fmt: skip
LENGTHS = {
    "m": Unit(1.0), "cm": Unit(0.01), "mm": Unit(0.001), "ft": Unit(0.3048), "in": Unit(0.0254),
}  # fmt: skip
TIMES = {"s": Unit(1.0), "ms": Unit(0.001), "min": Unit(60.0), "h": Unit(3600.0)}
