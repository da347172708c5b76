"""How fast a throw left, by what was measured, and how well that is known by the table's own words."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from stager.fit.table.heads import MEASURES, NUMBERS
from stager.model.arrays import Floats
from stager.model.projectile import Projectile
from stager.physics.muzzle import speed_from_range, speed_from_time

COMMENT = re.compile(r"^#\s*uncertainty\s*:(?P<rest>.*)$", re.IGNORECASE)
_ITEM = re.compile(r"^(?P<name>[a-z_]+)\s*(?:±|\+/?-)?\s*(?P<number>\d+\.?\d*|\.\d+)\s*(?P<unit>\S+)$", re.IGNORECASE)
LONG = 1000


@dataclass(frozen=True, slots=True)
class Known:
    """A standard uncertainty: value in SI, or a share of what was measured."""

    value: float
    relative: bool


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong with a comment, and what would be right."""

    line: int
    message: str
    hint: str


def uncertainties(lines: Sequence[tuple[int, str]]) -> tuple[dict[str, Known], list[Mistake]]:
    """Return standard uncertainties by column from comments `# uncertainty: range 2 cm, drop 5 mm`; and mistakes.

    lines: all lines of a table with their numbers.
    """
    found: dict[str, Known] = {}
    mistakes: list[Mistake] = []
    for at, line in lines:
        match = COMMENT.match(line.strip()[:LONG])
        for item in re.split("[,;]", match["rest"]) if match else ():
            known = _item(item.strip())
            if isinstance(known, str):
                hint = "write it like # uncertainty: exit_speed 2 %, or # uncertainty: range 2 cm, drop 5 mm"
                mistakes.append(Mistake(at, known, hint))
            else:
                found[known[0]] = known[1]
    return found, mistakes


def _item(text: str) -> tuple[str, Known] | str:
    match = _ITEM.match(text)
    if match is None:
        return f'"{text[:40]}" is no uncertainty'
    name, number, unit = match["name"].lower(), float(match["number"]), match["unit"]
    columns = [column for columns in MEASURES for column in columns]
    if name not in columns:
        return f'"{name[:40]}" is not a column that has an uncertainty; these have: {", ".join(columns)}'
    if unit == "%":
        return name, Known(number / 100, relative=True)
    units = NUMBERS[name]
    if unit not in units:
        return f'"{unit[:20]}" is not a unit of {name}; known are %, {", ".join(units)}'
    return name, Known(units[unit].factor * number, relative=False)


def exit_speeds(columns: Mapping[str, Floats], projectile: Projectile) -> tuple[Floats, bool]:
    """Return exit speeds [m/s] and whether they are those at the opening.

    Parameters
    ----------
    columns : mapping of str to ndarray, shape (n,)
        What was measured, in SI; NaN where a cell is empty.
    projectile : Projectile

    Returns
    -------
    speeds : ndarray, shape (n,)
        0 where nothing came out; NaN where nothing was measured; inf where no speed flies so far.
    at_outlet : bool
    """
    if "exit_speed" in columns:
        return columns["exit_speed"], False
    if "range" in columns:
        return speed_from_range(projectile, columns["range"], columns["drop"]), True
    return speed_from_time(projectile, columns["flight_time"], columns["distance"]), True


def relative(columns: Mapping[str, Floats], known: Mapping[str, Known]) -> Floats | None:
    """Return the relative standard uncertainty of each exit speed (n,) [-]; None where the table says nothing.

    A speed goes with the range, the inverse root of the drop, the distance, the inverse of the time.
    """
    powers = {"exit_speed": 1.0, "range": 1.0, "drop": 0.5, "flight_time": 1.0, "distance": 1.0}
    used = next(measure for measure in MEASURES if set(measure) <= columns.keys())
    if not known.keys() & set(used):
        return None
    total = np.zeros(columns[used[0]].shape)
    for name in used:
        if name in known:
            values = np.ones(total.shape) if known[name].relative else np.maximum(columns[name], 1e-9)
            total = total + (powers[name] * known[name].value / values) ** 2
    return np.asarray(np.sqrt(total))
