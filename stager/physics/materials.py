"""Materials by name. Every value is typical of its kind and from memory: a data sheet is better."""

from __future__ import annotations

from stager.model.material import TyreMaterial, WheelMaterial
from stager.physics.rubber import gent_modulus

_TYPICAL = "typical of its kind, from memory"


def _metal(name: str, density: float, modulus: float, poisson: float, strength: float, tensile: float) -> WheelMaterial:
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=poisson,
        yield_strength=strength, tensile_strength=tensile, source=_TYPICAL,
    )  # fmt: skip


def _printed(name: str, density: float, modulus: float, strength: float, *, brittle: bool) -> WheelMaterial:
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=0.37, yield_strength=strength, tensile_strength=strength,
        strength_factor=0.5, brittle=brittle, source=_TYPICAL,
    )  # fmt: skip


def _plastic(name: str, density: float, modulus: float, strength: float) -> WheelMaterial:
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=0.38,
        yield_strength=strength, tensile_strength=strength, source=_TYPICAL,
    )  # fmt: skip


_HUBS = (
    _metal("aluminium", 2700, 70e9, 0.33, 240e6, 290e6),
    _metal("steel", 7850, 205e9, 0.29, 250e6, 410e6),
    _metal("brass", 8500, 100e9, 0.34, 200e6, 360e6),
    _printed("printed PLA", 1240, 3.0e9, 50e6, brittle=True),
    _printed("printed PETG", 1270, 2.0e9, 45e6, brittle=False),
    _printed("printed ABS", 1040, 2.0e9, 35e6, brittle=False),
    _printed("printed nylon", 1100, 1.5e9, 45e6, brittle=False),
    _plastic("polycarbonate", 1200, 2.3e9, 60e6),
    _plastic("acetal", 1410, 2.9e9, 65e6),
    _plastic("nylon", 1140, 2.7e9, 70e6),
    _plastic("plywood", 680, 6.0e9, 20e6),
)


def _rubber(name: str, hardness: float, density: float, tensile: float) -> TyreMaterial:
    return TyreMaterial(
        name=f"{name} {hardness:g}", density=density, modulus=float(gent_modulus(hardness)),
        tensile_strength=tensile, source=_TYPICAL + "; modulus by Gent's relation from Shore A hardness",
    )  # fmt: skip


_TYRES = (
    *(_rubber("nitrile", hardness, 1250, 12e6) for hardness in (50, 60, 70, 80)),
    *(_rubber("silicone", hardness, 1150, 7e6) for hardness in (40, 50, 60, 70)),
    *(_rubber("natural rubber", hardness, 1100, 20e6) for hardness in (40, 50, 60)),
    *(_rubber("polyurethane", hardness, 1200, 30e6) for hardness in (60, 70, 80)),
)
WHEEL_MATERIALS = {material.name: material for material in _HUBS}
TYRE_MATERIALS = {material.name: material for material in _TYRES}
