"""A configuration that has been read and found right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from stager.config.build import build_launcher
from stager.config.machine import File
from stager.config.requirements import build_goal, build_limit_values
from stager.config.values import quantities, uncertain
from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.units import Measured, format_quantity


@dataclass(frozen=True, kw_only=True)
class Configuration:
    """path, text and sha256 (of the bytes) of a file; raw: its TOML tree; file: its tables, checked; draws of a fit."""

    path: Path
    text: str
    sha256: str
    raw: Mapping[str, Any]
    file: File
    draws: Mapping[str, Floats] | None = None

    @property
    def title(self) -> str:
        """The launcher's title."""
        return self.file.title

    @property
    def quantities(self) -> dict[str, Measured]:
        """Every quantity by dotted key."""
        return quantities(self.file, self.raw)

    def scenario(self) -> Scenario:
        """What the file describes, in hardware records."""
        found = self.quantities
        unsure = uncertain(found)
        return Scenario(
            title=self.title,
            launcher=build_launcher(self.file, self.raw, {}),
            limit_values=build_limit_values(self.file),
            goal=build_goal(self.file),
            values={key: measured.value for key, measured in found.items()},
            uncertain=tuple(one for one in unsure if not one.key.startswith("flight.")),
            flight_uncertain=tuple(one for one in unsure if one.key.startswith("flight.")),
            realise=partial(build_launcher, self.file, self.raw),
            draws=self.draws,
        )

    def spell(self, key: str, value: float, standard_uncertainty: float = 0.0) -> str:
        """TOML text of another value [SI] for a quantity of the file, in the unit that it is written in.

        Raises KeyError where the file has no such quantity.
        """
        old = self.quantities[key]
        text = format_quantity(value, standard_uncertainty, old.unit, written=old.written)
        return text if not old.unit and not standard_uncertainty else f'"{text}"'
