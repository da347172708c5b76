"""How long a charge of a battery lasts, its voltage falling as it empties."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.stage import Battery, Supply
from stager.physics.rate import settled

NOMINAL_CELL = 3.7
"""Voltage by which cells are counted where their number is not given [V]."""
LEAST_CELL = 3.3
"""Voltage of a loaded cell below which it must not be emptied further [V]; common practice, no source."""
LEFT: Floats = np.array([1.0, 0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05, 0.0])
"""Share of the charge that is left [-], where the rest voltage of a cell is OPEN."""
OPEN: Floats = np.array([4.2, 4.15, 4.11, 4.02, 3.95, 3.87, 3.84, 3.8, 3.77, 3.73, 3.69, 3.61, 3.27])
"""Rest voltage of a lithium polymer cell [V]: a chart in common use, as read in BatteryLevels.md of the repository
islandskan/Oversvamningskollen."""
STEPS = 24
"""Shares of the charge at which steady throwing is computed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Discharge:
    """Throwing at the feed's rate from a full battery until it is empty or the wheels can no longer be held.

    cells : in series; battery : its name, empty where it is the supply itself or has none; throws : until then;
    seconds : that this takes [s]; ends_by : "voltage" of the loaded cells,
    "speed" that the wheels no longer hold, or "charge"; left : share of the charge [-], voltage : at the terminals,
    under the mean load [V], exit_speed [m/s] and throws so far, each (steps,), up to there.
    """

    cells: int
    battery: str = ""
    throws: float
    seconds: float
    ends_by: str
    left: Floats
    voltage: Floats
    exit_speed: Floats
    so_far: Floats


def cells_of(supply: Supply) -> int:
    """Return how many cells in series a supply has: as given, else by its voltage."""
    return supply.cells or max(round(float(np.mean(supply.voltage)) / NOMINAL_CELL), 1)


def open_voltage(left: Floats) -> Floats:
    """Return the rest voltage of a cell [V] with the share `left` of its charge [-]."""
    return np.interp(left, LEFT[::-1], OPEN[::-1])


def battery_discharge(
    launcher: Launcher, battery: Battery, wheel_speed: Floats, wheel_speed_b: Floats | None = None
) -> Discharge | None:
    """Return how long a charge of another battery lasts at wheel speeds [m/s], as `discharge` does."""
    if launcher.supply is None:
        return None
    supply = replace(
        launcher.supply, voltage=battery.cells * NOMINAL_CELL, resistance=battery.resistance, capacity=battery.capacity,
        cells=battery.cells,
    )  # fmt: skip
    found = discharge(replace(launcher, supply=supply), wheel_speed, wheel_speed_b)
    return None if found is None else replace(found, battery=battery.name)


def discharge(
    launcher: Launcher, wheel_speed: Floats, wheel_speed_b: Floats | None = None, *, cells: int | None = None
) -> Discharge | None:
    """Return how long a charge lasts at set surface speeds [m/s], shape (stages,).

    cells : in series, each with the supply's capacity and its share of the supply's resistance; as many as it has by
    default. None where rate, drives, supply or its capacity are not known, or where the first throw jams.
    """
    supply, rate = launcher.supply, launcher.feed.rate
    if supply is None or supply.capacity is None or rate is None:
        return None
    own = cells_of(supply)
    count = own if cells is None else cells
    left = np.linspace(1.0, 0.0, STEPS)
    battery = replace(
        supply, voltage=count * open_voltage(left), resistance=supply.resistance * count / own, cells=count
    )
    fed = replace(launcher, supply=battery)
    speeds = np.tile(wheel_speed, (STEPS, 1))
    other = None if wheel_speed_b is None else np.tile(wheel_speed_b, (STEPS, 1))
    found = settled(fed, rate, speeds, other)
    if found is None or bool(found.first.jammed[0]):
        return None
    current = found.energies.charge * rate
    loaded = battery.voltage - battery.resistance * current
    held = found.cycle.holding.reached & ~found.throw.jammed
    enough = loaded >= count * LEAST_CELL
    good = np.logical_and.accumulate(held & enough)
    last = int(good.sum()) - 1
    if last < 0:
        return Discharge(
            cells=count, throws=0.0, seconds=0.0, ends_by="voltage" if held[0] else "speed", left=left[:0],
            voltage=left[:0], exit_speed=left[:0], so_far=left[:0],
        )  # fmt: skip
    # Throws for a small share of the charge: capacity · d(share) / charge of a throw.
    each = float(supply.capacity) / found.energies.charge[: last + 1]
    so_far = np.concatenate([[0.0], np.cumsum((each[1:] + each[:-1]) / 2 * -np.diff(left[: last + 1]))])
    ends = "charge" if last == STEPS - 1 else "voltage" if held[last + 1] else "speed"
    return Discharge(
        cells=count, throws=float(so_far[-1]), seconds=float(so_far[-1] / rate), ends_by=ends, left=left[: last + 1],
        voltage=np.asarray(loaded[: last + 1]), exit_speed=found.throw.exit_speed[: last + 1], so_far=so_far,
    )  # fmt: skip
