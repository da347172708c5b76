"""Rubber by its hardness."""

from __future__ import annotations

from stager.model.arrays import Number


def gent_modulus(hardness: Number) -> Number:
    """Young's modulus [Pa] from Shore A hardness 20…80 [-].

    E/MPa = 0.0981·(56 + 7.62336 S) / (0.137505·(254 − 2.54 S)); Gent, Trans. IRI 34 (1958), from memory.
    """
    return 1e6 * 0.0981 * (56 + 7.62336 * hardness) / (0.137505 * (254 - 2.54 * hardness))
