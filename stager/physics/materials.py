"""Hub and tyre materials by name; all values are typical of their kind."""

from __future__ import annotations

from stager.model.arrays import Number
from stager.model.stage import TyreMaterial, WheelMaterial


def gent_modulus(hardness: Number) -> Number:
    """Return Young's modulus [Pa] from Shore A hardness 20…80 [-].

    E/MPa = 0.0981·(56 + 7.62336 S) / (0.137505·(254 − 2.54 S)); Gent, Trans. IRI 34 (1958), as read in codes that
    name him.
    """
    return 1e6 * 0.0981 * (56 + 7.62336 * hardness) / (0.137505 * (254 - 2.54 * hardness))


_TYPICAL = "typical of its kind, from memory"
_CONDUCTIVITY = "thermal conductivity by DIN EN 12524, table of building materials (as kept by the library ht)"
_READ = f"typical, near or below tables of textbooks (Beer & Johnston, ecoursesbook.com, web.mst.edu); {_CONDUCTIVITY}"


def _metal(
    name: str, density: float, modulus: float, poisson: float, strength: float, tensile: float, conductivity: float
) -> WheelMaterial:
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=poisson, yield_strength=strength,
        tensile_strength=tensile, conductivity=conductivity, source=_READ,
    )  # fmt: skip


def _printed(name: str, density: float, modulus: float, strength: float, conductivity: float) -> WheelMaterial:
    """Return a printed plastic: brittle, since cracks start between layers and at pores."""
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=0.37, yield_strength=strength, tensile_strength=strength,
        strength_factor=0.5, brittle=True, conductivity=conductivity, source=_TYPICAL,
    )  # fmt: skip


def _plastic(
    name: str, density: float, modulus: float, strength: float, tensile: float, conductivity: float, *,
    brittle: bool = False, source: str = _READ,
) -> WheelMaterial:  # fmt: skip
    return WheelMaterial(
        name=name, density=density, modulus=modulus, poisson=0.38, yield_strength=strength, tensile_strength=tensile,
        brittle=brittle, conductivity=conductivity, source=source,
    )  # fmt: skip


_HUBS = (
    _metal("aluminium", 2700, 70e9, 0.33, 240e6, 290e6, 160.0),
    _metal("steel", 7850, 205e9, 0.29, 250e6, 410e6, 50.0),
    _metal("brass", 8500, 100e9, 0.34, 200e6, 360e6, 120.0),
    _printed("printed PLA", 1240, 3.0e9, 50e6, 0.13),
    _printed("printed PETG", 1270, 2.0e9, 45e6, 0.2),
    _printed("printed ABS", 1040, 2.0e9, 35e6, 0.17),
    _printed("printed nylon", 1100, 1.5e9, 45e6, 0.25),
    _plastic("polycarbonate", 1200, 2.3e9, 55e6, 65e6, 0.2),
    _plastic("acetal", 1410, 2.9e9, 65e6, 65e6, 0.3, source=f"{_TYPICAL}; {_CONDUCTIVITY}"),
    _plastic("nylon", 1140, 2.7e9, 45e6, 75e6, 0.25),
    _plastic("plywood", 700, 6.0e9, 20e6, 20e6, 0.17, brittle=True, source=f"{_TYPICAL}; {_CONDUCTIVITY}"),
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
