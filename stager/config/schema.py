"""JSON Schema of the configuration, for editors, and keys that are refused since they are not implemented."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from stager.config.errors import Mistake
from stager.config.field_types import UNIT
from stager.config.tables import File
from stager.units import format_quantity

WORDS: Mapping[str, str] = {
    "Battery.name": "shown where batteries are compared",
    "BellFriction.law": "friction rises, peaks and falls with slip",
    "ConstantFriction.law": "one coefficient at every slip",
    "Drive.cost": "of one drive, any currency",
    "Drive.heat": "how the motor warms up and cools",
    "Drive.mass": "of one drive",
    "Drive.mount": "holes that fasten the motor, for the drawing of the side plate",
    "Drive.name": "shown where a choice of drives is reported",
    "Drive.no_load_current": "of the motor running free",
    "FallingFriction.law": "friction falls from static to sliding as slip grows",
    "File.contact": "stiffness, rebound and friction of the contact",
    "File.feed": "how the projectile enters the first nip",
    "File.flight": "muzzle and target",
    "File.goal": "goal of the plan",
    "File.guide": "between stages; lossless where left out",
    "File.limits": "limits that a plan keeps",
    "File.measuring": "calibration of tachometer and chronograph; exact where left out",
    "File.outlet": "barrel or spout behind the last wheel; takes nothing where left out",
    "File.projectile": "the projectile",
    "File.supply": "common supply of all drives",
    "File.title": "heads the report",
    "Flight.spread": "how the direction differs from shot to shot",
    "Heat.case_capacity": "heat that warms the case by one kelvin",
    "Heat.case_to_air": "from the case to the air; where left out, from the motor's size, the wheel's hub and fins",
    "Heat.fin_conductivity": "of the fins' material",
    "Heat.fin_count": "how many round fins",
    "Heat.fin_diameter": "outer",
    "Heat.fin_thickness": "of one fin",
    "Heat.winding_capacity": "heat that warms the winding by one kelvin",
    "Heat.winding_to_case": "from the winding to the case",
    "Idler.inertia": "of the free wheel about its axis",
    "Mount.circle": "diameter of the circle of screws about the motor's axis",
    "Mount.screw": "diameter of a screw's hole",
    "Mount.screws": "how many screws",
    "Projectile.mass": "of one projectile",
    "Projectile.shape": "a disc or ring is gripped at its edge, a rod flies along its axis",
    "RisingFriction.law": "friction rises from static to sliding as slip grows",
    "Stage.drive": "motor of each driven wheel; the wheel coasts where left out",
    "Stage.idler": 'the free wheel of layout "idler"',
    "Stage.layout": "pair: two driven wheels; rail: one wheel against a strip; idler: one drives, one turns freely",
    "Stage.wheel": "each driven wheel",
    "Supply.capacity": "of the battery",
    "Supply.resistance": "of battery and leads",
    "Supply.voltage": "at no load",
    "TabulatedFriction.law": "measured points, a smooth curve between them",
    "Tyre.density": "where no material is named",
    "Tyre.material": "by name, then density and modulus are typical ones",
    "Tyre.tensile_strength": "at break",
    "Wheel.cost": "of one wheel, any currency",
    "Wheel.density": "where no material is named",
    "Wheel.mass": "of one wheel; from geometry where left out",
    "Wheel.material": "by name, then density and strength are typical ones",
    "Wheel.name": "shown where a choice of wheels is reported",
    "Wheel.poisson": "Poisson's ratio",
    "Wheel.tensile_strength": "at break",
    "Wheel.tyre": "on the wheel's rim",
    "Wheel.yield_strength": "at which it yields",
}

EXAMPLES: Mapping[str, Any] = {
    "Drive.governed": True, "Flight.target": "5 m", "Drive.name": "small outrunner", "File.draws": "fitted.draws.csv",
    "Feed.magazine": 40, "File.title": "Ridge seed-ball thrower", "Guide.air_drag": True,
    "Heat.case_capacity": "45 J/K", "Heat.case_to_air": "9 K/W", "Heat.fin_count": 8,
    "Heat.fin_diameter": "44 mm", "Heat.fin_thickness": "1 mm", "Limits.stages": 4,
    "Supply.cells": 4, "Mount.circle": "25 mm", "Mount.screw": "3.2 mm", "Outlet.length": "80 mm",
    "Projectile.length": "95 mm", "Projectile.max_crush": "6 mm", "Projectile.thickness": "12 mm",
    "Battery.cells": 4, "Battery.name": "4S, 2.2 Ah", "Supply.battery_list": "batteries.csv",
    "Stage.drive_list": "drives.csv", "Stage.wheel_list": "wheels.csv",
    "Stage.pitch": "86 mm", "TabulatedFriction.coefficient": [0.8, 0.4], "TabulatedFriction.slip": ["0 m/s", "10 m/s"],
    "Tyre.density": "1250 kg/m^3", "Tyre.depth": "3 mm", "Tyre.modulus": "5.5 MPa", "Tyre.tensile_strength": "12 MPa",
    "Wheel.brittle": True, "Wheel.name": "printed, 40 mm", "Wheel.radius": "40 mm",
    "Wheel.tensile_strength": "290 MPa", "Wheel.width": "18 mm", "Wheel.yield_strength": "240 MPa",
}  # fmt: skip


NOT_YET: Mapping[str, str] = {"feed.push": "leave it out, and describe the pusher in [feed.pusher]"}
"""Keys that are refused, with what to do instead."""


def refuse(raw: Mapping[str, Any]) -> Iterator[Mistake]:
    """Yield the problems of keys in the file that would have no effect."""
    for key, instead in NOT_YET.items():
        table, name = key.split(".")
        found = raw.get(table)
        if isinstance(found, Mapping) and name in found:
            yield Mistake((table, name), "is not implemented yet, so it is refused rather than ignored", instead)


_PREFIX = "#/$defs/"
_PART = "Part"


def schema_json() -> dict[str, Any]:
    """Return the schema, with titles, descriptions, SI units and examples.

    An entry of [[stages]] needs only keys that differ from [stage], within its tables too.
    """
    schema = File.model_json_schema(schema_generator=_Generator)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "stager configuration"
    tables: dict[str, Any] = schema["$defs"]
    for part in _within("Stage", tables):
        tables[part + _PART] = _part(tables[part])
    schema["properties"]["stages"]["items"] = {"$ref": f"{_PREFIX}Stage{_PART}"}
    for name, table in {"File": schema, **tables}.items():
        for key, entry in table.get("properties", {}).items():
            _describe(entry, f"{name.removesuffix(_PART)}.{key}")
    for key in NOT_YET:
        _say_not_yet(schema, key)
    return schema


def _within(name: str, tables: dict[str, Any]) -> list[str]:
    """Return the names of a table and of those within it."""
    found = [name]
    for other in _refs(tables[name]):
        found += [inner for inner in _within(other, tables) if inner not in found]
    return found


def _refs(value: Any) -> list[str]:
    if isinstance(value, dict):
        own = [value["$ref"].removeprefix(_PREFIX)] if "$ref" in value else []
        return own + [ref for inner in value.values() for ref in _refs(inner)]
    return [ref for inner in value for ref in _refs(inner)] if isinstance(value, list) else []


def _part(table: dict[str, Any]) -> dict[str, Any]:
    """Return a table without required keys; entries of lists keep theirs."""
    part = copy.deepcopy(table)
    part.pop("required", None)
    for entry in part["properties"].values():
        for choice in (entry, *entry.get("anyOf", ())):
            if "$ref" in choice:
                choice["$ref"] += _PART
    return part


def _describe(entry: dict[str, Any], key: str) -> None:
    """Change an entry to what editors should show: no null, defaults as TOML, the SI unit behind the description."""
    if entry.get("default", 0) is None:
        del entry["default"]
    for choice in entry.pop("anyOf", ()):
        if choice != {"type": "null"}:
            entry.update(choice | entry)
    if key in WORDS:
        entry["description"] = WORDS[key]
    if key in EXAMPLES:
        entry["examples"] = [EXAMPLES[key]]
    unit = entry.pop(UNIT, None)
    if unit is not None:
        entry["description"] = f"{entry.get('description', '')} [{unit}]".strip()
    if unit != "-" and isinstance(entry.get("default"), float):
        entry["default"] = format_quantity(entry["default"], unit=unit or "")


def _say_not_yet(schema: dict[str, Any], key: str) -> None:
    table, name = key.split(".")
    reference = schema["properties"][table]["$ref"].removeprefix(_PREFIX)
    entry = schema["$defs"][reference]["properties"][name]
    entry["description"] = f"{entry.get('description', '')} (it is refused for now)".strip()


class _Generator(GenerateJsonSchema):
    """Generator that writes defaults, which are quantities, as numbers or text, and names tables without "Table"."""

    def normalize_name(self, name: str) -> str:
        """Return the name of a definition."""
        return super().normalize_name(name).removesuffix("Table")

    def encode_default(self, value: Any) -> Any:
        """Return a default as a JSON value."""
        return getattr(value, "value", value)
