"""Thermal classes of winding insulation."""

from __future__ import annotations

ZERO_CELSIUS = 273.15
INSULATION = {
    name: celsius + ZERO_CELSIUS
    for name, celsius in (("A", 105), ("E", 120), ("B", 130), ("F", 155), ("H", 180), ("N", 200), ("R", 220))
}
"""Greatest temperature of each thermal class [K]; IEC 60085:2007."""
