"""A crush that was chosen from a range, as a configuration has it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from stager.config.configuration import Configuration
from stager.config.toml import show_value
from stager.errors import InputError
from stager.units import Measured, format_quantity


def crush_values(configuration: Configuration, crushes: Sequence[float]) -> dict[str, str]:
    """TOML text by dotted key of the chosen `crushes` [m], one a stage, each with the ± of the one as written; what is
    as written is left out. Raises InputError where draws of a fit hold another crush of a stage's own."""
    known, found = configuration.quantities, {}
    inherit = [f"stages.{k + 1}.crush" not in known for k in range(len(crushes))]
    common = {crush for crush, inherits in zip(crushes, inherit, strict=True) if inherits}
    # Draws of a fit would go on to say what the crush of [stage] was.
    together = len(common) == 1 and configuration.draws is None
    for k, (crush, inherits) in enumerate(zip(crushes, inherit, strict=True)):
        own = f"stages.{k + 1}.crush"
        old = known["stage.crush" if inherits else own]
        if crush == old.value:
            continue
        if not inherits and configuration.draws is not None and own in configuration.draws:
            raise InputError(
                "the draws that a fit has left hold the crush as it was measured", where=own,
                hint="leave out `draws`, or `crush_range`",
            )  # fmt: skip
        found["stage.crush" if inherits and together else own] = show_value(_spelled(old, crush))
    return found


def crush_ranges(configuration: Configuration) -> list[str]:
    """Dotted keys of all ranges of crush."""
    raw, key = configuration.raw, "crush_range"
    found = [f"stage.{key}"] if key in raw["stage"] else []
    stages = enumerate(raw.get("stages", ()), 1)
    return found + [f"stages.{number}.{key}" for number, own in stages if isinstance(own, Mapping) and key in own]


def _spelled(old: Measured, crush: float) -> str:
    """Another crush [m] with the spread of `old`, in its unit."""
    text = format_quantity(crush, unit="m", written=old.written)
    if not old.standard_uncertainty:
        return text
    half = old.standard_uncertainty * (math.sqrt(3) if old.rectangular else 1.0)
    spread = format_quantity(float(f"{half:.6g}"), unit="m", written=old.written)
    return f"{text} ± {spread}{' limits' if old.rectangular else ''}"
