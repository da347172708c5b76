"""Friction laws: one small frozen object each, with `name` and `coefficient(slip) -> (mu, slope)`."""

from stager.physics.friction.bell import Bell
from stager.physics.friction.constant import Constant
from stager.physics.friction.falling import Falling
from stager.physics.friction.tabulated import Tabulated

LAWS = {law.name: law for law in (Constant, Falling, Bell, Tabulated)}

__all__ = ["LAWS", "Bell", "Constant", "Falling", "Tabulated"]
