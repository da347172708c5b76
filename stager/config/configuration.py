"""A checked configuration: its quantities by dotted key, and the lines that they stand in."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

from stager.config.build import build_goal, build_launcher, build_limit_values
from stager.config.errors import dotted
from stager.config.field_types import SetSpeed
from stager.config.tables import File, Stage
from stager.config.toml import KeyPath, key_lines, line_of, show_value
from stager.errors import InputError
from stager.model.arrays import Floats, Number
from stager.model.scenario import Scenario, Uncertain
from stager.model.stage import Stage as BuiltStage
from stager.units import Measured, format_quantity


def quantities(file: File, raw: Mapping[str, Any]) -> dict[str, Measured]:
    """Return the quantities by key; one that a stage inherits from [stage] is listed there only."""
    found: dict[str, Measured] = {}
    for name in File.model_fields:
        value = getattr(file, name)
        if name == "stages":
            for number, stage in enumerate(value):
                own = raw["stages"][number]
                found.update(_walk(stage, f"stages.{number + 1}", own))
        elif name not in ("limits", "goal"):
            found.update(_walk(value, name, None))
    return found


def surface_speed(side: Measured, radius: float) -> Measured:
    """Return a set speed as surface speed [m/s]; an angular speed is converted at the radius at rest [m]."""
    if side.unit == "m/s":
        return side
    return replace(
        side, value=side.value * radius, standard_uncertainty=side.standard_uncertainty * radius, unit="m/s", written=""
    )


def _speeds(speed: SetSpeed, key: str, radius: float) -> dict[str, Measured]:
    found = {key: surface_speed(speed.side_a, radius)}
    if speed.side_b is not None:
        found[f"{key}_b"] = surface_speed(speed.side_b, radius)
    return found


def _walk(value: Any, key: str, own: Any) -> dict[str, Measured]:
    if isinstance(value, Measured):
        return {key: value}
    if isinstance(value, BaseModel):
        found: dict[str, Measured] = {}
        for name in type(value).model_fields:
            if isinstance(own, Mapping) and name not in own:
                continue
            inner = own[name] if isinstance(own, Mapping) else None
            part = getattr(value, name)
            if isinstance(part, SetSpeed) and isinstance(value, Stage):
                found.update(_speeds(part, f"{key}.{name}", value.wheel_in.radius.value))
            else:
                found.update(_walk(part, f"{key}.{name}", inner))
        return found
    if isinstance(value, list):
        found = {}
        for number, item in enumerate(value):
            found.update(_walk(item, f"{key}.{number + 1}", None))
        return found
    return {}


def uncertain(found: Mapping[str, Measured]) -> tuple[Uncertain, ...]:
    """Return the quantities with a standard uncertainty."""
    return tuple(
        Uncertain(
            key=key, value=m.value, standard_uncertainty=m.standard_uncertainty,
            low=m.low, high=m.high, rectangular=m.rectangular,
        )
        for key, m in found.items()
        if m.standard_uncertainty > 0
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Configuration:
    """A checked configuration.

    path, text, sha256: of the file, the hash of its bytes
    raw: its TOML tree; tree: the same with the parts of its lists among the options; file: its tables
    lists: names of the lists beside it
    draws: of a fit, by key; None: no fit
    """

    path: Path
    text: str
    sha256: str
    raw: Mapping[str, Any]
    tree: Mapping[str, Any]
    file: File
    lists: tuple[str, ...] = ()
    draws: Mapping[str, Floats] | None = None

    @property
    def title(self) -> str:
        """Return the launcher's title."""
        return self.file.title

    @property
    def quantities(self) -> dict[str, Measured]:
        """Return every quantity by dotted key."""
        return quantities(self.file, self.tree)

    def scenario(self) -> Scenario:
        """Return launcher, limits, goal and uncertain quantities as records."""
        found = self.quantities
        unsure = uncertain(found)
        return Scenario(
            title=self.title,
            launcher=build_launcher(self.file, self.tree, {}),
            limit_values=build_limit_values(self.file),
            goal=build_goal(self.file),
            values={key: measured.value for key, measured in found.items()},
            uncertain=tuple(one for one in unsure if not one.key.startswith("flight.")),
            flight_uncertain=tuple(one for one in unsure if one.key.startswith("flight.")),
            realise=partial(build_launcher, self.file, self.tree),
            draws=self.draws,
        )

    def to_toml(self, key: str, value: float, standard_uncertainty: float = 0.0) -> str:
        """Return the TOML text of another value [SI] for a quantity of the file, in the unit that the file uses.

        Raises KeyError where the file has no such quantity.
        """
        old = self.quantities[key]
        text = format_quantity(value, standard_uncertainty, old.unit, written=old.written)
        return text if not old.unit and not standard_uncertainty else f'"{text}"'


def speed_of(configuration: Configuration, stage: int) -> str:
    """Return `file:line: key` of the set speed of a stage, counted from 0: its own, else that of [stage].

    Where there is none, the table that lacks it.
    """
    entries = configuration.raw.get("stages", [])
    own = stage < len(entries) and "speed" in entries[stage]
    return place_of(configuration, ("stages", stage, "speed") if own else ("stage", "speed"))


def place_of(configuration: Configuration, path: KeyPath) -> str:
    """Return `file:line: key`; where the file has no such key, the line of the table that lacks it."""
    return f"{configuration.path}:{line_of(key_lines(configuration.text), path)}: {dotted(path)}"


WRITTEN: Mapping[str, Callable[[BuiltStage], Number | None]] = {
    "crush": lambda stage: stage.crush,
    "wheel.radius": lambda stage: stage.wheel.radius,
    "wheel.width": lambda stage: stage.wheel.width,
    "wheel.inertia": lambda stage: stage.wheel.inertia,
    "wheel.mass": lambda stage: stage.wheel.mass,
    "mass": lambda stage: stage.mass,
    "idler.inertia": lambda stage: stage.idler_inertia,
}
"""Keys within a stage that change where a variable is chosen, with their values."""
RANGES = ("crush_range", "wheel.radius_range", "wheel.inertia_range")


def variable_values(configuration: Configuration, stages: Sequence[BuiltStage]) -> dict[str, str]:
    """Return TOML text by dotted key of the values of `stages` that differ from the file's, each with the file's ±.

    Raises InputError where draws of a fit hold another value of a stage's own.
    """
    found: dict[str, str] = {}
    for key, value in WRITTEN.items():
        given = [value(stage) for stage in stages]
        if all(one is not None for one in given):
            found |= _changed_values(configuration, key, [float(np.mean(one)) for one in given if one is not None])
    return found


def _changed_values(configuration: Configuration, key: str, values: Sequence[float]) -> dict[str, str]:
    """Return TOML text of the `values` of a key, one a stage, without those that are as in the file."""
    known, found = configuration.quantities, {}
    inherit = [f"stages.{k + 1}.{key}" not in known for k in range(len(values))]
    common = {value for value, inherits in zip(values, inherit, strict=True) if inherits}
    # Draws of a fit would still contain the old value of [stage].
    together = len(common) == 1 and configuration.draws is None
    for k, (value, inherits) in enumerate(zip(values, inherit, strict=True)):
        own = f"stages.{k + 1}.{key}"
        old = known[f"stage.{key}" if inherits else own]
        if math.isclose(value, old.value, rel_tol=1e-12):
            continue
        if not inherits and configuration.draws is not None and own in configuration.draws:
            raise InputError(
                f"the draws of a fit hold the {key.rpartition('.')[2]} as it was measured", where=own,
                hint="leave out `draws`, or the range",
            )  # fmt: skip
        ratio = 1.0 if key == "crush" else value / old.value
        found[f"stage.{key}" if inherits and together else own] = show_value(_spelled(old, value, ratio))
    return found


def ranges(configuration: Configuration) -> list[str]:
    """Return the dotted keys of all ranges of design variables."""
    tables = {"stage": configuration.raw["stage"]}
    tables |= {f"stages.{number}": own for number, own in enumerate(configuration.raw.get("stages", ()), 1)}
    return [f"{place}.{key}" for place, table in tables.items() for key in RANGES if _holds(table, key)]


def _holds(table: Any, key: str) -> bool:
    for part in key.split("."):
        if not isinstance(table, Mapping) or part not in table:
            return False
        table = table[part]
    return True


def _spelled(old: Measured, value: float, ratio: float) -> str:
    """Return the text of another value in the unit of `old`, with its spread times `ratio`."""
    text = format_quantity(float(f"{value:.7g}"), unit=old.unit, written=old.written)
    if not old.standard_uncertainty:
        return text
    half = ratio * old.standard_uncertainty * (math.sqrt(3) if old.rectangular else 1.0)
    spread = format_quantity(float(f"{half:.3g}"), unit=old.unit, written=old.written)
    return f"{text} ± {spread}{' limits' if old.rectangular else ''}"
