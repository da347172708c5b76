"""[[stages]] entries laid over [stage], key by key."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_IN_FULL = ("density", "modulus", "poisson", "yield_strength", "tensile_strength", "strength_factor", "brittle")
INSTEAD = {
    "clearance": ("pitch",),
    "pitch": ("clearance",),
    "material": (*_IN_FULL, "hardness"),
    "hardness": ("modulus",),
    "modulus": ("hardness",),
}
"""A key of an entry that says in another way what [stage] says with these, and takes their place."""


def merged(raw: Mapping[str, Any]) -> Mapping[str, Any]:
    """The file with whole [[stages]] entries; what is not a table is left for the schema to refuse."""
    base, stages = raw.get("stage"), raw.get("stages")
    if not isinstance(base, dict) or not isinstance(stages, list):
        return raw
    return {**raw, "stages": [lay_over(base, own) if isinstance(own, dict) else own for own in stages]}


def lay_over(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """`own` over `base`; tables within are laid over each other likewise."""
    out = {key: value for key, value in base.items() if inherits(own, key)}
    for key, value in own.items():
        below = base.get(key)
        both = isinstance(value, dict) and isinstance(below, dict)
        out[key] = lay_over(below, value) if both else value  # type: ignore[arg-type]
    return out


def inherits(own: Mapping[str, Any], key: str) -> bool:
    """Whether an entry has a key from [stage]: it neither says it itself nor says it in another way."""
    return key not in own and not any(key in INSTEAD.get(other, ()) for other in own)
