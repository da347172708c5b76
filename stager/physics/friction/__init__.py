"""Friction laws: `LAWS` lists them; a new one is one file with a record and its formula, and one entry there."""

from __future__ import annotations

from stager.physics.friction.bell import Bell
from stager.physics.friction.constant import Constant
from stager.physics.friction.falling import Falling
from stager.physics.friction.law import Formula, Law, tables
from stager.physics.friction.rising import Rising
from stager.physics.friction.tabulated import Tabulated, packed

REGISTERED: tuple[type[Law], ...] = (Constant, Falling, Bell, Rising, Tabulated)
"""All laws."""
LAWS = {law.name: law for law in REGISTERED}
FORMULAS: tuple[Formula, ...] = tuple(formula for law in REGISTERED for formula in law.formulas)
"""Their formulas; a kernel knows one by its place here."""

__all__ = [
    "FORMULAS", "LAWS", "REGISTERED", "Bell", "Constant", "Falling", "Law", "Rising", "Tabulated", "packed", "tables",
]  # fmt: skip
