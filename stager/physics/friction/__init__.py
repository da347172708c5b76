"""Friction laws. To add one, write its record and its formula in `laws.py` and add it to REGISTERED."""

from __future__ import annotations

from stager.physics.friction.laws import Bell, Constant, Falling, Formula, Law, Rising, Tabulated, packed, tables

REGISTERED: tuple[type[Law], ...] = (Constant, Falling, Bell, Rising, Tabulated)
"""All laws, in the order of schema and screens."""
LAWS = {law.name: law for law in REGISTERED}
"""The same by name."""
FORMULAS: tuple[Formula, ...] = tuple(formula for law in REGISTERED for formula in law.formulas)
"""All formulas; a kernel identifies a formula by its index here."""

__all__ = [
    "FORMULAS", "LAWS", "REGISTERED", "Bell", "Constant", "Falling", "Law", "Rising", "Tabulated", "packed", "tables",
]  # fmt: skip
