"""Which motor a rate of throwing takes, and how long a charge of the battery lasts.

The motor is the least that is needed, and the smallest of a list that is enough.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from stager.constraints import LIMITS, OperatingPoint, evaluate, unjudged
from stager.constraints.limit import JAMS, NOT_SETTLED
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.stage import Battery, Drive, Supply
from stager.optimise.parts import names, outfit, parts_of
from stager.optimise.records import Parts
from stager.physics.chain import throw
from stager.physics.motor import greatest_power, recovery_draw
from stager.physics.rate import Settled, settled

HEADROOM = 1.25
"""No-load speed of the motor that is needed, by the fastest that it is to hold [-]; common practice, no source."""
LEAST_RESISTANCE = 1e-4
"""Least resistance of a winding that is tried [ohm]."""
MOST_RESISTANCE = 1e3
"""Greatest resistance of a winding that is tried [ohm]."""
POINTS = 25
"""Resistances that are tried at once."""
ROUNDS = 4
"""Times that the interval of the resistance is narrowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """The motor that is just enough for the wheels of one stage, without no-load loss.

    speed_constant [rad/s/V]; resistance: the greatest [ohm]; current, torque: the greatest while it throws at the rate
    [A], [N m]; power: mechanical, its mean [W]; all of one motor, at its shaft.
    """

    stage: int
    speed_constant: float
    resistance: float
    current: float
    torque: float
    power: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A drive of the list, in every stage.

    number : in the list, 0: the drive as written; mass [kg], None: not known; greatest_power: of an ideal motor of that
    resistance at the supply's voltage [W]; throttle: greatest, settled at the rate [-]; loss: of exit speed [-];
    droop: greatest share of wheel speed that a throw takes [-]; current: greatest of a motor [A]; broken : names of the
    limits that it breaks, "jam" where throws at the rate jam; unknown : keys of its unknown inputs by name of a limit
    that cannot be judged without; no_load_known : whether its no-load current is known, which else is taken as 0.
    """

    number: int
    name: str
    mass: float | None
    greatest_power: float
    throttle: float
    loss: float
    droop: float
    current: float
    broken: tuple[str, ...]
    unknown: Mapping[str, str] = field(default_factory=dict)
    no_load_known: bool = True

    @property
    def enough(self) -> bool:
        """Whether it keeps the loss and every limit."""
        return not self.broken and not self.unknown


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizing:
    """Motors for a rate [1/s] at which at most `loss` of the exit speed is lost [-].

    candidates : smallest first, by mass where all are known, else by greatest power; needed : by stage, empty where no
    motor is enough.
    """

    rate: float
    loss: float
    needed: tuple[Needed, ...]
    candidates: tuple[Candidate, ...]

    @property
    def smallest(self) -> Candidate | None:
        """The first that is enough; None where none is."""
        return next((one for one in self.candidates if one.enough), None)

    @property
    def perhaps(self) -> Candidate | None:
        """The first that breaks no limit, though not every limit can be judged with it; None where none does."""
        return next((one for one in self.candidates if not one.broken), None)


def size_motors(
    scenario: Scenario, wheel_speed: Floats, wheel_speed_b: Floats | None, rate: float, loss: float
) -> Sizing:  # fmt: skip
    """Return what motors throwing at a rate takes.

    Parameters
    ----------
    scenario : Scenario
        With a supply; drives of the first stage's list are tried in every stage that offers them.
    wheel_speed, wheel_speed_b : array, shape (stages,)
        Set surface speeds [m/s]; side B's where a pair runs two speeds.
    rate : float
        Throws per second [1/s].
    loss : float
        Greatest share of exit speed lost between the first and the settled throw [-].
    """
    launcher = replace(scenario.launcher, feed=replace(scenario.launcher.feed, rate=rate))
    given = replace(scenario, launcher=launcher, limit_values=replace(scenario.limit_values, settled_loss=loss))
    stage = launcher.template if not launcher.stages else launcher.stage(0)
    numbers = sorted({parts.drive for parts in parts_of(stage)}) if stage.drive or stage.drive_options else []
    found = [_candidate(given, number, wheel_speed, wheel_speed_b) for number in numbers]
    by_mass = all(one.mass is not None for one in found)
    found.sort(key=lambda one: (one.mass or 0.0) if by_mass else one.greatest_power)
    return Sizing(
        rate=rate, loss=loss, needed=_needed(launcher, wheel_speed, wheel_speed_b, rate, loss),
        candidates=tuple(found),
    )  # fmt: skip


def _candidate(given: Scenario, number: int, wheel_speed: Floats, wheel_speed_b: Floats | None) -> Candidate:
    parts = Parts(0, number)
    machine = outfit(given.launcher, [parts])
    stage, supply = machine.stage(0), machine.supply
    assert stage.drive is not None
    assert supply is not None
    done = throw(machine, wheel_speed, wheel_speed_b)
    point = OperatingPoint(launcher=machine, limit_values=given.limit_values, throw=done)
    broken, unknown, state, steady = [], {}, point.settled, point.steady
    for limit in LIMITS:
        result, one = evaluate(limit, point), unjudged(limit, point)
        broken += [] if result is None or result.satisfied else [limit.name]
        if one is not None and (one.missing.startswith("stage.drive") or one.missing == NOT_SETTLED):
            unknown[limit.name] = one.missing
    if not point.unsettled and (state is None or bool(state.throw.jammed)):
        broken.append(JAMS)
    throttle = np.nan if point.holding is None else float(point.holding.throttle.max())
    return Candidate(
        number=number, name=names(given.launcher.stage(0), parts)[1], throttle=throttle,
        mass=None if stage.drive.mass is None else float(stage.drive.mass),
        greatest_power=float(greatest_power(stage.drive, supply.voltage)),
        loss=np.nan if state is None else float(state.loss),
        droop=np.nan if steady is None else float(steady.droop.max()),
        current=np.nan if steady is None else float(_recovery(steady)[0].max()), broken=tuple(dict.fromkeys(broken)),
        unknown=unknown, no_load_known=stage.drive.no_load_known,
    )  # fmt: skip


def _recovery(state: Settled) -> tuple[Floats, Floats]:
    """Return the current of each motor [A], (..., wheels), and the bus voltage [V] with the wheels at their slowest.

    That is within a settled throw: a strong motor drives a light wheel on before the throw is over.
    """
    cycle, stages = state.cycle, state.throw.stages
    slowest = cycle.train.columns(stages.wheel_low_a, stages.wheel_low_b) / cycle.train.radius
    return recovery_draw(cycle.train, cycle.holding, slowest, cycle.supply)


def _needed(
    launcher: Launcher, wheel_speed: Floats, wheel_speed_b: Floats | None, rate: float, loss: float
) -> tuple[Needed, ...]:
    """Return the motors, each at a speed constant with headroom, of the greatest resistance that keeps the loss."""
    low, high, most = LEAST_RESISTANCE, MOST_RESISTANCE, None
    for _ in range(ROUNDS):
        resistance = np.geomspace(low, high, POINTS)
        state = _ideal(launcher, wheel_speed, wheel_speed_b, rate, resistance)
        if state is None:
            return ()
        # With a motor far too strong for its wheel throws may not settle: that says nothing of weaker ones.
        fails = state.throw.jammed | (state.loss > loss) | ~state.cycle.holding.reached
        kept = np.flatnonzero(state.converged & ~np.logical_or.accumulate(fails))
        if not kept.size:
            break
        low = most = resistance[kept[-1]]
        high = resistance[min(kept[-1] + 1, POINTS - 1)]
    if most is None:
        return ()
    state = _ideal(launcher, wheel_speed, wheel_speed_b, rate, np.full(1, most))
    assert state is not None
    train, found = state.cycle.train, []
    currents = _recovery(state)[0][0]
    power = ((state.energies.wheel_work + state.energies.windage) * rate)[0]
    for column, stage in enumerate(train.stage):
        drive = _drive(launcher, stage, wheel_speed, wheel_speed_b, most)
        current = float(currents[column])
        found.append(Needed(
            stage=stage, speed_constant=float(drive.speed_constant), resistance=float(most), current=current,
            torque=float(drive.torque_constant) * current, power=float(power[column]),
        ))  # fmt: skip
    # Of a pair at two speeds, the wheel that takes more.
    of_stage = {one.stage: one for one in sorted(found, key=lambda one: one.power)}
    return tuple(of_stage[stage] for stage in sorted(of_stage))


def _ideal(
    launcher: Launcher, wheel_speed: Floats, wheel_speed_b: Floats | None, rate: float, resistance: Floats
) -> Settled | None:
    """Return settled throwing with motors of such resistances, over these."""
    stages = tuple(
        replace(launcher.stage(k), drive=_drive(launcher, k, wheel_speed, wheel_speed_b, resistance))
        for k in range(wheel_speed.size)
    )
    machine = replace(launcher, stages=stages)
    many = np.ones((resistance.size, 1))
    return settled(machine, rate, many * wheel_speed, None if wheel_speed_b is None else many * wheel_speed_b)


def _drive(
    launcher: Launcher, index: int, wheel_speed: Floats, wheel_speed_b: Floats | None, resistance: Floats | float
) -> Drive:
    assert launcher.supply is not None
    fastest = wheel_speed[index] if wheel_speed_b is None else max(wheel_speed[index], wheel_speed_b[index])
    stage = launcher.stage(index)
    gear = 1.0 if stage.drive is None else stage.drive.gear
    constant = HEADROOM * gear * float(fastest) / float(stage.wheel.radius) / float(launcher.supply.voltage)
    return Drive(speed_constant=constant, resistance=resistance, gear=gear)


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
    "speed" that the wheels no longer hold, or "charge"; left : share of the charge [-], voltage : the least at the
    terminals, right after a throw [V], exit_speed [m/s] and throws so far, each (steps,), up to there.
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
    supply = replace(launcher.supply, resistance=battery.resistance, capacity=battery.capacity, cells=battery.cells)
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
    loaded = _recovery(found)[1]
    held = found.cycle.holding.reached & found.converged & ~found.throw.jammed
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
