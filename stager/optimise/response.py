"""Compute what the page's sliders show, as tables: exit speed and limits over wheel speeds, crush and rate.

For each stage, exit speed, spin, slip heat and peak acceleration are tables over arrival speed, spin, crush and wheel
speed. Along the wheel speed the exit speed has corners: where the projectile jams, and where the wheel begins and
ceases to grip. Corners move with the other variables, so nodes lie at fixed shares between corners, where each piece is
smooth.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stager.constraints import LIMITS, Kind, Limit, OperatingPoint, not_judged
from stager.model.arrays import Floats, Number
from stager.model.launcher import Launcher
from stager.model.requirements import LimitValues
from stager.physics.barrel import feed_rate, overlapping, run_up
from stager.physics.chain import throw, transit
from stager.physics.flight import outlet_speed
from stager.physics.mechanics import translation_energy
from stager.physics.records import Transit

Flags = NDArray[np.bool_]
Ends = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Grids:
    """Ranges and resolution of the tables, all without a unit.

    slowest, fastest : ends of a wheel's speed over the planned one
    floor, past : ends of its table over the planned speed, and over `fastest`, so that corners outside keep their place
    crush : greatest change of crush over the least crush
    rate : greatest rate over the configured one
    arrivals, spins, crushes : nodes of each variable
    first_crushes : nodes of crush in the first stage, where nothing else varies
    coarse : wheel speeds at which corners are sought
    closer, rounds : points within the interval around a corner, and how often it is refined
    gripped : slip over creep up to which a wheel grips, as in `Grip.SYNC`
    cloud : settings thrown to find what arrives at each stage
    checked, worst : settings at which the tables are compared with throws, greatest relative error of exit speed
    narrower, tries : factor on the ranges where the error is greater, and how often
    wheels, changes, exits : nodes of limits over wheel speed, change of crush, exit speed
    steady, paces : nodes of each variable and of the rate, for values that depend on the rate
    steady_checked, steady_worst : as `checked` and `worst`, for these values
    """

    slowest: float = 0.6
    fastest: float = 1.3
    floor: float = 0.03
    past: float = 1.5
    crush: float = 0.3
    rate: float = 3.0
    arrivals: int = 6
    spins: int = 3
    crushes: int = 5
    first_crushes: int = 17
    coarse: int = 33
    closer: int = 10
    rounds: int = 2
    gripped: float = 3.0
    cloud: int = 160
    checked: int = 128
    worst: float = 4e-3
    narrower: float = 0.6
    tries: int = 3
    wheels: int = 17
    changes: int = 5
    exits: int = 25
    steady: int = 5
    paces: int = 4
    steady_checked: int = 12
    steady_worst: float = 0.15


GRIDS = Grids()
SPREAD = 1e-3
"""Range of spin ratios below which spin is no variable of its own [-]."""
MATCH = 1e-3
"""Greatest relative error of a limit that is computed from the tables, at every checked setting [-]."""
NEAR_TOP = 0.999
"""Share of the greatest exit speed at which the grip limit lies [-]."""
TOWARDS = (0.0, 0.005, 0.015, 0.03, 0.055, 0.09, 0.14, 0.21, 0.3, 0.41, 0.54, 0.69, 0.85, 1.0)
BETWEEN = (0.0, 0.006, 0.02, 0.05, 0.12, 0.28, 0.5, 0.68, 0.79, 0.87, 0.925, 0.965, 0.988, 1.0)
PIECES: Floats = np.stack([1 - np.array(TOWARDS)[::-1], np.array(BETWEEN), np.array(TOWARDS)])
"""Nodes of a table as shares of the distance between corners, dense where curves bend, (pieces, nodes)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageResponse:
    """Transit of one stage over arrival and settings.

    arrival: exit speed of the stage before, or the feed's [m/s], shape (A,); spin_ratio: rΩ/v, (S,); crush_change [m],
    (C,). corners: wheel speeds at which the projectile begins to pass, to grip, to slip, to jam again [m/s],
    (A, S, C, 4), NaN where nothing passes. grip_limit [m/s], (A, S, C), the last corner where exit speed still rises.
    values: exit speed [m/s], spin ratio, slip heat [J], peak acceleration [m/s^2], (4, A, S, C, pieces, nodes).
    """

    arrival: Floats
    spin_ratio: Floats
    crush_change: Floats
    corners: Floats
    grip_limit: Floats
    values: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Values over nodes of one variable, each of shape (nodes,)."""

    nodes: Floats
    values: Floats

    def at(self, place: Floats) -> Floats:
        """Return values by cubic interpolation, (samples,)."""
        index, weight = weights(self.nodes, place)
        return np.asarray((weight * self.values[index]).sum(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Values over nodes of two variables, (nodes, others)."""

    nodes: Floats
    others: Floats
    values: Floats

    def at(self, place: Floats, other: Floats) -> Floats:
        """Return values by cubic interpolation, (samples,)."""
        (i, wi), (j, wj) = weights(self.nodes, place), weights(self.others, other)
        return np.asarray(np.einsum("na,nb,nab->n", wi, wj, self.values[i[:, :, None], j[:, None, :]]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A limit that follows from the tables.

    of: its source. "exit_speed": `curve` over it; "wheels": the worst of the stages' `surfaces` over wheel speed [m/s]
    and change of crush [m]; "slip_heat": the sum over stages; "peak_acceleration": the greatest of the
    stages; "grip_margin": the least of the stages.
    """

    name: str
    unit: str
    bound: float
    floor: bool
    hard: bool
    of: str
    curve: Curve | None = None
    surfaces: tuple[Surface, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """A value that depends on drives, supply and rate, computed with one variable changed at a time.

    bound: None where none is set. base: at the plan, over the rate [1/s], or at one node without one; surfaces: over
    each wheel's speed [m/s], then the change of crush [m], each with the rate; by: "sum": differences to `base` add;
    "product": ratios multiply; "worst": the worst of the surfaces, each of one stage alone, moved to `base` at the
    plan. error: greatest relative
    error found.
    """

    name: str
    unit: str
    bound: float | None
    floor: bool
    hard: bool
    base: Curve
    surfaces: tuple[Surface, ...]
    by: str
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Tables of a launcher around a plan, and their error.

    wheel_speed, wheel_speed_b: the plan's [m/s], (stages,); speeds: ends of side A's, (stages, 2); crush: ends of the
    change of crush [m]; rate, rates: the configured one and its ends [1/s], None where throwing at a rate is not known.
    feed: speed [m/s] and spin ratio of what enters. leaves, energy: speed behind the outlet [m/s] and energy there [J]
    over the last stage's exit speed [m/s]. error: greatest relative error of exit speed at `checked` settings.
    not_followed: names of limits that the tables do not give.
    """

    wheel_speed: Floats
    wheel_speed_b: Floats
    speeds: Floats
    crush: Ends
    feed: Ends
    stages: tuple[StageResponse, ...]
    leaves: Curve
    energy: Curve
    error: float
    checked: int
    rate: float | None = None
    rates: Ends | None = None
    judged: tuple[Judged, ...] = ()
    steady: tuple[Steady, ...] = ()
    not_followed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """Values looked up at settings; NaN where the projectile jams or may jam.

    exit_speed [m/s], (samples,); slip_heat [J], peak_acceleration [m/s^2] and grip_share, wheel speed over grip limit
    [-], (samples, stages).
    """

    exit_speed: Floats
    slip_heat: Floats
    peak_acceleration: Floats
    grip_share: Floats


def respond(
    launcher: Launcher, limit_values: LimitValues, wheel_speed: Floats, wheel_speed_b: Floats | None = None, *,
    grip_limit: Floats | None = None,
) -> Response | None:  # fmt: skip
    """Compute the response of a launcher around a plan.

    Ranges shrink until exit speeds are within `GRIDS.worst` of throws at every checked setting.

    Parameters
    ----------
    launcher : Launcher
        Without batch axes.
    limit_values : LimitValues
    wheel_speed, wheel_speed_b : array, shape (stages,) [m/s]
        The plan's. Side B keeps its ratio to side A; None: as A.
    grip_limit : array, shape (stages,) [m/s]
        Grip limits at the plan as speeds of side A, NaN where there is none; the tables' are scaled to them.

    Returns
    -------
    Response or None
        None without a stage, where two stages hold the projectile at once, and where the error stays too large.
    """
    count = int(wheel_speed.size)
    if count == 0 or (wheel_speed <= 0).any():
        return None
    ratio = np.ones(count) if wheel_speed_b is None else wheel_speed_b / wheel_speed
    widest = _crushed(launcher, count, _ends_of_crush(launcher, count, GRIDS)[1])
    if overlapping(widest, count, wheel_speed[-1:] * GRIDS.fastest):
        return None
    shrunk = GRIDS
    for _ in range(GRIDS.tries):
        found = _tables(launcher, wheel_speed, ratio, shrunk)
        if found is not None and found.error <= GRIDS.worst:
            if grip_limit is not None:
                found = replace(found, stages=_scaled(found, grip_limit))
            return _with_limits(found, launcher, limit_values, shrunk)
        shrunk = replace(
            shrunk, slowest=1 - (1 - shrunk.slowest) * GRIDS.narrower, crush=shrunk.crush * GRIDS.narrower,
            fastest=1 + (shrunk.fastest - 1) * GRIDS.narrower,
        )  # fmt: skip
    return None


def _scaled(response: Response, grip_limit: Floats) -> tuple[StageResponse, ...]:
    """Return tables with grip limits scaled to those known at the plan, which are more exact."""
    share = look_up(response.stages, response.feed, response.wheel_speed[None], np.zeros(1)).grip_share[0]
    factor = np.where((share > 0) & np.isfinite(grip_limit), grip_limit * share / response.wheel_speed, 1.0)
    return tuple(
        replace(table, grip_limit=np.minimum(table.grip_limit * by, table.corners[..., 3]))
        for table, by in zip(response.stages, factor.tolist(), strict=True)
    )


def look_up(tables: Sequence[StageResponse], feed: Ends, wheel_speed: Floats, crush_change: Floats) -> Looked:
    """Look up throws.

    Parameters
    ----------
    tables : sequence of StageResponse
    feed : (float, float)
        Speed [m/s] and spin ratio [-] of what enters the first stage.
    wheel_speed : array, shape (samples, stages) [m/s]
    crush_change : array, shape (samples,) [m]
    """
    size = crush_change.size
    speed, spin = np.full(size, feed[0]), np.full(size, feed[1])
    heat, peak, share = (np.zeros((size, len(tables))) for _ in range(3))
    for k, table in enumerate(tables):
        (speed, spin, heat[:, k], peak[:, k]), share[:, k] = _through(
            table, speed, spin, crush_change, wheel_speed[:, k]
        )
    return Looked(exit_speed=speed, slip_heat=heat, peak_acceleration=peak, grip_share=share)


def weights(nodes: Floats, place: Floats) -> tuple[NDArray[np.intp], Floats]:
    """Return indices and weights of the cubic polynomial through the nodes around each place, (samples, 4 or fewer)."""
    size = min(4, nodes.size)
    first = np.clip(np.searchsorted(nodes, place) - size // 2, 0, nodes.size - size)
    index = first[:, None] + np.arange(size)
    near, found = nodes[index], np.ones(index.shape)
    for a in range(size):
        for b in range(size):
            if a != b:
                found[:, a] *= (place - near[:, b]) / (near[:, a] - near[:, b])
    return index, found


def _through(
    table: StageResponse, arrival: Floats, spin: Floats, change: Floats, wheel: Floats
) -> tuple[tuple[Floats, ...], Floats]:
    """Return a table's values, (samples,) each, and wheel speed over grip limit, 0 where there is none."""
    arrives = np.isfinite(arrival)
    (i, wi), (j, wj), (k, wk) = (
        weights(nodes, np.where(arrives, place, nodes[0]))
        for nodes, place in ((table.arrival, arrival), (table.spin_ratio, spin), (table.crush_change, change))
    )
    cell = i[:, :, None, None], j[:, None, :, None], k[:, None, None, :]
    weight = wi[:, :, None, None] * wj[:, None, :, None] * wk[:, None, None, :]
    corners = np.einsum("nabc,nabcq->nq", weight, table.corners[cell])
    limit = np.einsum("nabc,nabc->n", weight, table.grip_limit[cell])
    piece = (wheel[:, None] > corners[:, 1:3]).sum(axis=1)
    rows = np.arange(wheel.size)
    low, high = corners[rows, piece], corners[rows, piece + 1]
    share = np.where(high > low, (wheel - low) / np.where(high > low, high - low, 1.0), 0.0)
    inside = arrives & (wheel >= corners[:, 0]) & (wheel <= corners[:, 3])
    node, along = np.zeros((wheel.size, 4), np.intp), np.zeros((wheel.size, 4))
    for p, nodes in enumerate(PIECES):
        here = inside & (piece == p)
        node[here], along[here] = weights(nodes, share[here])
    at = (*(part[..., None] for part in cell), piece[:, None, None, None, None], node[:, None, None, None, :])
    found = (np.einsum("nabc,ns,nabcs->n", weight, along, values[at]) for values in table.values)
    used = np.where(limit < NEAR_TOP * corners[:, 3], wheel / limit, 0.0)
    return tuple(np.where(inside, value, np.nan) for value in found), np.where(inside, used, np.nan)


def _tables(launcher: Launcher, wheel_speed: Floats, ratio: Floats, grids: Grids) -> Response | None:
    """Return tables without limits, and their error; None where nothing passes all stages."""
    count = wheel_speed.size
    speeds, crush = (
        wheel_speed[:, None] * np.array([grids.slowest, grids.fastest]),
        _ends_of_crush(launcher, count, grids),
    )
    tried, change = _settings(grids.cloud, 0, speeds, crush)
    cloud = throw(_crushed(launcher, count, change), tried, tried * ratio)
    through = np.logical_and.accumulate(~cloud.stages.jammed, axis=-1)
    if not through[:, -1].any():
        return None
    radius = float(launcher.projectile.radius)
    stages = cloud.stages
    feed = float(stages.entry_speed[0, 0]), float(stages.entry_spin[0, 0] * radius / stages.entry_speed[0, 0])
    tables = []
    for k in range(count):
        arrivals = np.full(1, feed[0]) if k == 0 else stages.exit_speed[through[:, k - 1], k - 1]
        spins = np.full(1, feed[1]) if k == 0 else stages.exit_spin[through[:, k - 1], k - 1] * radius / arrivals
        tables.append(_table(launcher, k, float(ratio[k]), wheel_speed[k], _axes(arrivals, spins, crush, grids), grids))
    tried, change = _settings(grids.checked, grids.cloud, speeds, crush)
    true = throw(_crushed(launcher, count, change), tried, tried * ratio)
    looked = look_up(tables, feed, tried, change)
    known = ~true.jammed & np.isfinite(looked.exit_speed)
    error = np.abs(looked.exit_speed[known] / true.exit_speed[known] - 1).max(initial=0.0)
    exits = np.linspace(0.0, 1.1 * float(np.max(cloud.exit_speed)), grids.exits)
    leaves = outlet_speed(launcher, exits)
    return Response(
        wheel_speed=wheel_speed, wheel_speed_b=wheel_speed * ratio, speeds=speeds, crush=crush, feed=feed,
        stages=tuple(tables), error=float(error), checked=int(known.sum()),
        leaves=Curve(nodes=exits, values=leaves),
        energy=Curve(nodes=exits, values=np.asarray(translation_energy(leaves, launcher.projectile))),
    )  # fmt: skip


PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41)
"""Bases of Halton's sequence: one for each stage, and one more."""


def halton(axes: int, count: int) -> Floats:
    """Return the first points of the sequence of Halton (1960), evenly spread over the unit cube, (count, axes).

    Along each axis the digits of 1, 2, 3, … to a prime base, mirrored at the point. scipy.stats has the sequence too,
    but takes longer to load than all other computations for the sliders.
    """
    points = np.zeros((count, axes))
    for axis, base in enumerate(PRIMES[:axes]):
        left, weight = np.arange(1, count + 1), 1.0
        while left.any():
            left, digit = np.divmod(left, base)
            weight /= base
            points[:, axis] += weight * digit
    return points


def _settings(count: int, skip: int, speeds: Floats, crush: Ends) -> tuple[Floats, Floats]:
    """Return quasi-random wheel speeds [m/s], (count, stages), and changes of crush [m], (count,)."""
    low, high = np.vstack([speeds, crush]).T
    places = halton(low.size, skip + count)[skip:]
    found = low + (high - low) * places
    return found[:, :-1], found[:, -1]


def _ends_of_crush(launcher: Launcher, count: int, grids: Grids) -> Ends:
    least = min(float(launcher.stage(k).crush) for k in range(count))
    return -grids.crush * least, grids.crush * least


def _nodes(ends: Sequence[float] | Floats, count: int) -> Floats:
    """Return `count` evenly spaced nodes from one end to the other."""
    low, high = (float(end) for end in ends)
    return np.linspace(low, high, count)


def _nodes_about(ends: Sequence[float] | Floats, count: int, plan: float) -> Floats:
    """Return nodes as `_nodes` does, but one of them at the plan, where the tables are exact then."""
    nodes = _nodes(ends, count)
    nodes[np.abs(nodes - plan).argmin()] = plan
    return nodes


def _crushed(launcher: Launcher, count: int, change: Number) -> Launcher:
    """Return the launcher with the crush of `count` stages changed by `change` [m]."""
    stages = tuple(replace(stage, crush=stage.crush + change) for stage in map(launcher.stage, range(count)))
    return replace(launcher, stages=stages)


def _axes(arrivals: Floats, spins: Floats, crush: Ends, grids: Grids) -> tuple[Floats, Floats, Floats]:
    """Return nodes of arrival speed [m/s], spin ratio and change of crush [m]."""

    def axis(values: Floats, count: int, room: float) -> Floats:
        low, high = float(values.min()), float(values.max())
        more = room * (high - low)
        return np.full(1, (low + high) / 2) if count == 1 else np.linspace(low - more, high + more, count)

    return (
        axis(arrivals, 1 if arrivals.size == 1 else grids.arrivals, 0.04),
        axis(spins, 1 if np.ptp(spins) < SPREAD else grids.spins, 0.04),
        axis(np.array(crush), grids.crushes if arrivals.size > 1 else grids.first_crushes, 1e-3),
    )  # fmt: skip


def _table(
    launcher: Launcher, k: int, ratio: float, planned: float, axes: tuple[Floats, Floats, Floats], grids: Grids
) -> StageResponse:
    """Return the table of stage `k`, whose planned wheel speed is `planned` [m/s]."""
    shape = tuple(axis.size for axis in axes)
    arrival, turning, change = (part.reshape(-1, 1) for part in np.meshgrid(*axes, indexing="ij"))
    radius = float(launcher.projectile.radius)

    def go(wheel: Floats, rows: NDArray[np.intp] | slice = slice(None)) -> Transit:
        """Return transits of some profiles, (profiles, points)."""
        here = _crushed(launcher, k + 1, change[rows])
        entry = run_up(here, k, np.broadcast_to(arrival[rows], wheel.shape), np.full(1, planned))
        return transit(here, k, entry, wheel, wheel * ratio, entry_spin=turning[rows] * arrival[rows] / radius)

    ends = planned * grids.floor, planned * grids.fastest * grids.past
    slip = grids.gripped * float(launcher.contact.creep)
    corners = _corners(go, len(arrival), ends, slip, grids)
    wheel = (corners[:, :-1, None] + np.diff(corners)[:, :, None] * PIECES).reshape(len(arrival), -1)
    # Rounding must not leave the interval in which the projectile passes.
    wheel = np.clip(wheel, corners[:, :1], corners[:, -1:])
    done = go(np.where(np.isnan(wheel), planned, wheel))
    turned = done.exit_spin * radius / np.where(done.exit_speed > 0, done.exit_speed, 1.0)
    values = np.stack([done.exit_speed, turned, done.slip_heat, done.peak_acceleration])
    return StageResponse(
        arrival=axes[0], spin_ratio=axes[1], crush_change=axes[2], corners=corners.reshape(*shape, 4),
        grip_limit=_grip_limits(wheel, done.exit_speed).reshape(shape),
        values=values.reshape(len(values), *shape, *PIECES.shape),
    )  # fmt: skip


def _corners(go: Callable[..., Transit], profiles: int, ends: Ends, slip: float, grids: Grids) -> Floats:
    """Return wheel speeds [m/s] where each profile begins to pass, to grip, to slip, to jam again, (profiles, 4)."""
    wheel = np.tile(_nodes(ends, grids.coarse), (profiles, 1))

    def passes(done: Transit) -> Flags:
        return np.asarray(done.exit_speed > 0)

    def grips(done: Transit) -> Flags:
        return np.asarray((done.exit_speed > 0) & (done.least_slip <= slip))

    coarse, found = go(wheel), []
    for test in (passes, grips):
        true = test(coarse)
        last = grids.coarse - 1 - np.argmax(true[:, ::-1], axis=1)
        for at, step in ((np.argmax(true, axis=1), -1), (last, 1)):
            found.append(np.where(true.any(axis=1), _edge(go, test, wheel[0], at, step, grids), np.nan))
    first, last, grip, slips = found
    grip = np.where(np.isnan(grip), first, np.clip(grip, first, last))
    return np.stack([first, grip, np.where(np.isnan(slips), grip, np.clip(slips, grip, last)), last], axis=1)


def _edge(
    go: Callable[..., Transit], test: Callable[[Transit], Flags], wheel: Floats, at: NDArray[np.intp], step: int,
    grids: Grids,
) -> Floats:  # fmt: skip
    """Return how far `test` holds from the points `at` of `wheel` in direction `step` [m/s], (profiles,)."""
    beyond = at + step
    inside, rows = wheel[at], np.flatnonzero((beyond >= 0) & (beyond < wheel.size))
    if rows.size == 0:
        return inside
    shares, chosen = np.linspace(0.0, 1.0, grids.closer + 2), np.arange(rows.size)
    here, outside = inside[rows], wheel[beyond[rows]]
    for _ in range(grids.rounds):
        points = here[:, None] + (outside - here)[:, None] * shares
        holds = np.logical_and.accumulate(test(go(points[:, 1:-1], rows)), axis=1).sum(axis=1)
        here, outside = points[chosen, holds], points[chosen, holds + 1]
    inside[rows] = here
    return inside


def _grip_limits(wheel: Floats, exits: Floats) -> Floats:
    """Return the least wheel speed of each profile with `NEAR_TOP` of its greatest exit speed [m/s], else its end."""
    enough = NEAR_TOP * exits.max(axis=1)
    rows, at = np.arange(len(wheel)), np.argmax(exits >= enough[:, None], axis=1)
    before = np.maximum(at - 1, 0)
    low, high = exits[rows, before], exits[rows, at]
    share = np.where(high > low, (enough - low) / np.where(high > low, high - low, 1.0), 1.0)
    found = wheel[rows, before] + share * (wheel[rows, at] - wheel[rows, before])
    return np.where(exits.argmax(axis=1) == exits.shape[1] - 1, wheel[:, -1], found)


def _with_limits(response: Response, launcher: Launcher, limit_values: LimitValues, grids: Grids) -> Response:
    """Return the response with the limits that can be computed from it."""
    count, ratio = response.wheel_speed.size, response.wheel_speed_b / response.wheel_speed
    tried, change = _settings(grids.checked, grids.cloud, response.speeds, response.crush)
    looked = look_up(response.stages, response.feed, tried, change)
    through = np.isfinite(looked.exit_speed)
    tried, change, share = tried[through], change[through], looked.grip_share[through]
    here = _crushed(launcher, count, change)
    true = throw(here, tried, tried * ratio)
    limits = np.where(share > 0, tried / np.where(share > 0, share, 1.0), np.nan)
    point = OperatingPoint(launcher=here, limit_values=limit_values, throw=true, grip_limit=limits)
    known = {
        "exit_speed": true.exit_speed, "slip_heat": true.stages.slip_heat.sum(axis=1),
        "peak_acceleration": true.stages.peak_acceleration.max(axis=1), "grip_margin": 1 - share.max(axis=1),
    }  # fmt: skip
    single = [_alone(response, k, launcher, limit_values, grids) for k in range(count)]
    judged, lost = [], []
    planned = throw(launcher, response.wheel_speed, response.wheel_speed_b)
    unknown = {one.name for one in not_judged(replace(point, launcher=launcher, throw=planned, grip_limit=limits[0]))}
    for limit in LIMITS:
        if limit.kind in (Kind.DESIGN, Kind.STEADY) or limit.name in unknown:
            continue
        bound, value = limit.bound(point), limit.value(point)
        if bound is None or value is None:
            continue
        value = np.broadcast_to(np.asarray(value, dtype=np.float64), change.shape)
        if limit.kind is Kind.WHEEL:
            found = _by_wheels(limit, response, single, tried, change, value, grids)
        else:
            found = _by_throw(limit, launcher, response, limit_values, known, value)
        if found is None or np.ptp(bound) > 0:
            lost.append(limit.name)
        else:
            of, curve, surfaces = found
            judged.append(Judged(name=limit.name, unit=limit.unit, bound=float(np.max(bound)), floor=limit.floor,
                                 hard=limit.hard, of=of, curve=curve, surfaces=surfaces))  # fmt: skip
    response = _with_steady(response, launcher, limit_values, grids)
    return replace(response, judged=tuple(judged), not_followed=(*lost, *response.not_followed))


Followed = tuple[str, Curve | None, tuple[Surface, ...]]


def _alone(response: Response, k: int, launcher: Launcher, limit_values: LimitValues, grids: Grids) -> OperatingPoint:
    """Return stage `k` by itself over its wheel speeds and changes of crush, (speeds, changes)."""
    speed = _nodes(response.speeds[k], grids.wheels)[:, None, None]
    stage = launcher.stage(k)
    stage = replace(stage, crush=stage.crush + _nodes(response.crush, grids.changes))
    alone, ratio = replace(launcher, stages=(), template=stage), response.wheel_speed_b[k] / response.wheel_speed[k]
    speed = np.broadcast_to(speed, (grids.wheels, grids.changes, 1))
    return OperatingPoint(launcher=alone, limit_values=limit_values, throw=throw(alone, speed, speed * ratio))


def _by_wheels(
    limit: Limit, response: Response, single: Sequence[OperatingPoint], tried: Floats, change: Floats, value: Floats,
    grids: Grids,
) -> Followed | None:  # fmt: skip
    """Return a limit as the worst of its stages; None where that does not give its value."""
    surfaces = []
    for k, point in enumerate(single):
        found = limit.value(point)
        if found is None or not np.isfinite(found).all():
            return None
        surfaces.append(
            Surface(
                nodes=_nodes(response.speeds[k], grids.wheels),
                others=_nodes(response.crush, grids.changes),
                values=np.array(np.broadcast_to(found, (grids.wheels, grids.changes)), dtype=np.float64),
            )
        )
    each = np.stack([surface.at(tried[:, k], change) for k, surface in enumerate(surfaces)])
    worst = each.min(axis=0) if limit.floor else each.max(axis=0)
    return ("wheels", None, tuple(surfaces)) if _close(worst, value) else None


def _by_throw(
    limit: Limit,
    launcher: Launcher,
    response: Response,
    limit_values: LimitValues,
    known: dict[str, Floats],
    value: Floats,
) -> Followed | None:
    """Return a limit as a function of one quantity of the throw; None where it is none."""
    for name in ("slip_heat", "peak_acceleration", "grip_margin"):
        if _close(known[name], value):
            return name, None, ()
    nodes = response.energy.nodes
    one = throw(launcher, response.wheel_speed, response.wheel_speed_b)
    found = limit.value(
        OperatingPoint(launcher=launcher, limit_values=limit_values, throw=replace(one, exit_speed=nodes))
    )
    if found is None or np.shape(found) != nodes.shape:
        return None
    curve = Curve(nodes=nodes, values=np.asarray(found))
    return ("exit_speed", curve, ()) if _close(curve.at(known["exit_speed"]), value) else None


def _close(one: Floats, other: Floats) -> bool:
    return bool((np.abs(one - other) <= MATCH * np.abs(other) + 1e-12).all())


def _with_steady(response: Response, launcher: Launcher, limit_values: LimitValues, grids: Grids) -> Response:
    """Return the response with values that depend on drives, supply and rate, one variable changed at a time."""
    asked = launcher.feed.rate
    rates = None if asked is None else _rates(launcher, float(asked), grids)
    paces = np.zeros(1) if rates is None or asked is None else _nodes_about(rates, grids.paces, float(asked))
    count, ends = response.wheel_speed.size, np.array([*response.speeds.tolist(), response.crush])
    plan = np.array([*response.wheel_speed, 0.0])
    wide = np.array([_nodes(end, grids.wheels) for end in ends])
    passing = _at_rates(response, launcher, limit_values, _changed(plan, wide).reshape(-1, plan.size), paces[0])
    ends = _passing(plan, wide, ~passing.throw.jammed.reshape(wide.shape))
    axes = np.array([_nodes_about(end, grids.steady, at) for end, at in zip(ends, plan, strict=True)])
    changed = _changed(plan, axes)
    settings = np.concatenate([plan[None], changed.reshape(-1, plan.size)])
    places = halton(plan.size + 1, grids.steady_checked)
    tried = ends[:, 0] + (ends[:, 1] - ends[:, 0]) * places[:, :-1]
    pace = paces[0] + (paces[-1] - paces[0]) * places[:, -1]
    rows = np.concatenate([np.repeat(settings, paces.size, axis=0), tried])
    point = _at_rates(response, launcher, limit_values, rows, np.concatenate([np.tile(paces, len(settings)), pace]))
    alone = [_alone_at_rates(response, k, launcher, limit_values, axes[k], paces) for k in range(count)]
    found, lost = [], []
    for limit in (limit for limit in LIMITS if limit.kind is Kind.STEADY):
        value, bound = limit.value(point), limit.bound(point)
        if value is None:
            continue
        if limit.jumps:
            lost += [] if bound is None else [limit.name]
            continue
        values = np.array(np.broadcast_to(np.asarray(value, dtype=np.float64), len(rows)))
        values[point.throw.jammed] = np.nan
        grid, known = values[: -len(tried)].reshape(-1, paces.size), values[-len(tried) :]
        single = [limit.value(one) for one in alone]
        made = _steady(limit, grid, single, plan, axes, paces)
        most = None if bound is None else float(np.max(bound))
        scale = 0.0 if most is None else abs(most - limit.origin)
        errors = [_error(one, tried, pace, known, scale, limit.origin) for one in made]
        if errors and min(errors) <= grids.steady_worst:
            best = int(np.argmin(errors))
            found.append(replace(made[best], bound=most, error=errors[best]))
        elif bound is not None:
            lost.append(limit.name)
    rate = None if asked is None else float(asked)
    return replace(response, steady=tuple(found), not_followed=tuple(lost), rate=rate, rates=rates)


def _changed(plan: Floats, axes: Floats) -> Floats:
    """Return settings with one variable changed at a time, (variables, nodes, variables)."""
    found = np.tile(plan, (*axes.shape, 1))
    found[np.arange(plan.size), :, np.arange(plan.size)] = axes
    return found


def _passing(plan: Floats, axes: Floats, through: Flags) -> Floats:
    """Return the range of each variable around the plan in which nothing jams, (variables, 2)."""
    ends = []
    for at, axis, passes in zip(plan, axes, through, strict=True):
        here = int(np.argmin(np.abs(axis - at)))
        below, above = np.flatnonzero(~passes[:here]), np.flatnonzero(~passes[here + 1 :])
        low = axis[below[-1] + 1] if below.size else axis[0]
        ends.append((min(low, at), max(axis[here + above[0]] if above.size else axis[-1], at)))
    return np.array(ends)


def _rates(launcher: Launcher, rate: float, grids: Grids) -> Ends:
    """Return the range of rates [1/s] that the feed can do."""
    return rate / grids.rate, max(rate, min(grids.rate * rate, float(feed_rate(launcher))))


def _at_rates(
    response: Response, launcher: Launcher, limit_values: LimitValues, rows: Floats, pace: Number
) -> OperatingPoint:
    """Return operating points at settings, (samples, stages and change of crush), and rates [1/s], (samples,)."""
    count, ratio = response.wheel_speed.size, response.wheel_speed_b / response.wheel_speed
    here = _crushed(launcher, count, rows[:, count])
    if launcher.feed.rate is not None:
        here = replace(here, feed=replace(here.feed, rate=pace))
    done = throw(here, rows[:, :count], rows[:, :count] * ratio)
    return OperatingPoint(launcher=here, limit_values=limit_values, throw=done)


def _alone_at_rates(
    response: Response, k: int, launcher: Launcher, limit_values: LimitValues, speeds: Floats, paces: Floats
) -> OperatingPoint:
    """Return stage `k` by itself over wheel speeds and rates, (speeds, rates)."""
    alone, ratio = (
        replace(launcher, stages=(), template=launcher.stage(k)),
        response.wheel_speed_b[k] / response.wheel_speed[k],
    )
    if launcher.feed.rate is not None:
        alone = replace(alone, feed=replace(alone.feed, rate=paces))
    wheel = np.broadcast_to(speeds[:, None, None], (speeds.size, paces.size, 1))
    return OperatingPoint(launcher=alone, limit_values=limit_values, throw=throw(alone, wheel, wheel * ratio))


def _steady(
    limit: Limit, grid: Floats, single: Sequence[Number | None], plan: Floats, axes: Floats, paces: Floats
) -> list[Steady]:
    """Return candidates for computing a value from changes of single variables, or from the stages alone.

    All are exact at the plan. grid: its values, (1 + variables × nodes, rates); single: its values for each stage
    alone; plan: a node of each of the `axes`.
    """
    if not np.isfinite(grid).all():
        return []
    base, shape = Curve(nodes=paces, values=grid[0]), (axes.shape[1], paces.size)
    parts = grid[1:].reshape(len(axes), *shape)
    each = [Surface(nodes=axis, others=paces, values=part) for axis, part in zip(axes, parts, strict=True)]
    common = Steady(name=limit.name, unit=limit.unit, bound=None, floor=limit.floor, hard=limit.hard, base=base,
                    surfaces=tuple(each), by="sum", error=0.0)  # fmt: skip
    made = [common, *([replace(common, by="product")] if (grid[0] > 0).all() else [])]
    alone = [np.broadcast_to(np.asarray(one, dtype=np.float64), shape) for one in single if one is not None]
    if len(alone) == len(axes) - 1 and all(np.isfinite(one).all() for one in alone):
        # A stage alone is not fed as it is behind others, and has the supply for itself.
        planned = np.stack([one[np.abs(axis - at).argmin()] for one, axis, at in zip(alone, axes, plan, strict=False)])
        short = grid[0] - (planned.min(axis=0) if limit.floor else planned.max(axis=0))
        worst = [Surface(nodes=axis, others=paces, values=one + short) for axis, one in zip(axes, alone, strict=False)]
        made.append(replace(common, surfaces=tuple(worst), by="worst"))
    return made


def _error(steady: Steady, tried: Floats, pace: Floats, known: Floats, scale: float, origin: float) -> float:
    """Return the greatest error at settings that pass, over the greatest value or `scale`, whichever is larger.

    origin: from which values count, as that of a limit; scale counts from there.
    """
    through = np.isfinite(known)
    if not through.any():
        return np.inf
    base = steady.base.at(pace)
    parts = np.stack([one.at(tried[:, k], pace) for k, one in enumerate(steady.surfaces)])
    match steady.by:
        case "sum":
            guess = base + (parts - base).sum(axis=0)
        case "product":
            guess = base * np.prod(parts / base, axis=0)
        case _:
            guess = parts.min(axis=0) if steady.floor else parts.max(axis=0)
    scale = max(float(np.abs(known[through] - origin).max()), scale, 1e-12)
    return float(np.abs(guess - known)[through].max()) / scale
