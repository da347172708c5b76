"""Friction laws: `LAWS` lists them; a new one is a record and its formula in `laws.py`, and its name here."""

from __future__ import annotations

from stager.physics.friction.laws import Bell, Constant, Falling, Formula, Law, Rising, Tabulated, packed, tables

REGISTERED: tuple[type[Law], ...] = (Constant, Falling, Bell, Rising, Tabulated)
"""All laws."""
LAWS = {law.name: law for law in REGISTERED}
FORMULAS: tuple[Formula, ...] = tuple(formula for law in REGISTERED for formula in law.formulas)
"""Their formulas; a kernel knows one by its place here."""

__all__ = [
    "FORMULAS", "LAWS", "REGISTERED", "Bell", "Constant", "Falling", "Law", "Rising", "Tabulated", "packed", "tables",
]  # fmt: skip
