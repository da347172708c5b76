"""Cells, entries and chains of cells as sets: no point is lost where they are cut, joined, left or passed on."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from stager.bounds import entry_sets
from stager.bounds.bound_chain import (
    FINE_STEPS,
    PARTS,
    STEPS,
    WEIGHTS,
    Bound,
    StageCover,
    StageQuery,
    _active,
    _best,
    _cut,
    _hopeless,
    _points,
    _poor,
    _run,
    _stalls,
    _start,
    _strained,
    _task,
    bound,
    explore,
    not_used,
    runs,
    strain,
    top_of,
)
from stager.bounds.entry_sets import (
    BAND,
    ENTRY,
    NODES,
    RESIDUE,
    WHEEL,
    Cells,
    Enclosed,
    Entries,
    Meter,
    _below,
    _greatest,
    after_run,
    capped,
    feed_entries,
    leaving,
    margins,
)
from stager.bounds.shared_budget import PARTS as BUDGET_PARTS
from stager.bounds.shared_budget import Floor, Pieces, _critical, _links, _parts, shared
from stager.bounds.stages import pair_ceiling
from stager.bounds.traction import motor_of
from stager.config import load
from stager.model.launcher import Guide, Launcher
from stager.model.stage import Drive
from stager.physics.air import windage
from stager.physics.barrel import free_run
from stager.physics.wheel import driven_inertia
from tests.optimise.machines import CLOSE, FOAM, HEAVY, STREAMER, scenario

CONFIGS = Path(__file__).parents[2] / "configs"
SIDES = 3
GUIDED = replace(HEAVY, guide=Guide(friction=0.4, air_drag=True))


def _cells(count: int, *, spins: bool = True, seed: int = 1) -> Cells:
    rng = np.random.default_rng(seed)
    low = rng.uniform(1.0, 20.0, (SIDES, count))
    high = low + rng.uniform(0.01, 3.0, (SIDES, count))
    if not spins:
        low[BAND], high[BAND] = low[ENTRY], high[ENTRY]
    return Cells(low, high, rng.integers(0, 4, count))


def _enclosed(count: int, seed: int = 1) -> Enclosed:
    rng = np.random.default_rng(seed)
    ends = np.sort(rng.uniform(1.0, 20.0, (3, 2, count)), axis=1)
    return Enclosed(*(row for pair in ends for row in pair), rng.uniform(100.0, 5000.0, count))


def _rows(enclosed: Enclosed) -> np.ndarray[Any, Any]:
    return np.stack([getattr(enclosed, name) for name in Enclosed.__dataclass_fields__])


def test_cells_and_enclosures_are_chosen_joined_and_replaced_by_index() -> None:
    cells, more = _cells(7), _cells(3, seed=2)
    chosen = np.array([4, 0, 0])
    assert len(cells) == 7
    np.testing.assert_array_equal(cells.take(chosen).low, cells.low[:, chosen])
    np.testing.assert_array_equal(cells.take(chosen).group, cells.group[chosen])
    joined = cells.join(more)
    for name in ("low", "high"):
        np.testing.assert_array_equal(getattr(joined, name), np.hstack([getattr(cells, name), getattr(more, name)]))
    np.testing.assert_array_equal(joined.group, [*cells.group, *more.group])
    first, second = _enclosed(7), _enclosed(3, seed=2)
    np.testing.assert_array_equal(_rows(first.take(chosen)), _rows(first)[:, chosen])
    np.testing.assert_array_equal(_rows(first.join(second)), np.hstack([_rows(first), _rows(second)]))
    put = _rows(first.put(np.array([1, 5, 6]), second))
    np.testing.assert_array_equal(put[:, [1, 5, 6]], _rows(second))
    np.testing.assert_array_equal(put[:, [0, 2, 3, 4]], _rows(first)[:, [0, 2, 3, 4]])


def test_distance_of_enclosures_is_that_of_the_ends_that_bounds_use() -> None:
    first = _enclosed(6)
    for number, name in enumerate(Enclosed.__dataclass_fields__):
        moved = replace(first, **{name: getattr(first, name) + np.arange(6.0) * (-1.0) ** number})
        used = name not in ("low", "lead_low", "strain")
        np.testing.assert_allclose(moved.apart(first), np.arange(6.0) * used, atol=1e-12)


def test_ends_are_extrapolated_by_a_third_and_widened_by_the_change() -> None:
    coarse, fine = _enclosed(4), _enclosed(4, seed=2)
    coarse.low[1] = fine.low[2] = fine.low[3] = coarse.low[3] = 0.0
    found = _rows(fine.beyond(coarse))
    expected = _rows(fine).copy()
    # Only the first cell surely lets all throws through.
    expected[:6, 0] += (_rows(fine) - _rows(coarse))[:6, 0] / 3
    np.testing.assert_allclose(found, expected)
    fine.high[3] = 0.0
    by = np.array([0.1, 30.0, 0.2, 0.3])
    wide = fine.widened(by)
    np.testing.assert_allclose(wide.low, [max(fine.low[0] - 0.1, 0.0), max(fine.low[1] - 30.0, 0.0), 0.0, 0.0])
    for name, sign in (("high", 1), ("lead_low", -1), ("lead_high", 1), ("band_low", -1), ("band_high", 1)):
        # A cell in which all jam stays.
        np.testing.assert_allclose(getattr(wide, name), getattr(fine, name) + sign * by * [1, 1, 1, 0])
    np.testing.assert_array_equal(wide.strain, fine.strain)
    np.testing.assert_allclose(
        _rows(fine.settled(coarse, by)), _rows(fine.beyond(coarse).widened(by + RESIDUE * fine.high))
    )


def test_entry_of_the_feed_is_a_point_without_spin() -> None:
    found = feed_entries(1.2)
    assert not found.spins
    for values in (found.low, found.high, found.band_low, found.band_high):
        np.testing.assert_array_equal(values, [1.2])
    np.testing.assert_array_equal(found.corners[0], np.full((5, 1), 1.2))


@pytest.mark.parametrize("spins", [True, False])
def test_corners_of_entries_are_their_ends_and_middle(spins: bool) -> None:
    low, high, band_low, band_high = np.array([[1.0, 2.0], [3.0, 6.0], [5.0, 7.0], [6.0, 9.0]])
    lead, band = Entries(low, high, band_low, band_high, spins).corners
    for box in range(2):
        points = list(zip(lead[:, box], band[:, box], strict=True))
        ends = list(product((low[box], high[box]), (band_low[box], band_high[box])))
        middle = ((low + high)[box] / 2, (band_low + band_high)[box] / 2)
        if spins:
            assert sorted(points) == sorted([*ends, middle])
            assert points[2] == middle
        else:
            assert points == [(y, y) for y in (low[box], low[box], middle[0], high[box], high[box])]


@pytest.mark.parametrize("spins", [True, False])
@pytest.mark.parametrize("floor", [0.0, 6.0, 1e3])
def test_every_exit_above_the_floor_is_an_entry_of_the_next_stage(spins: bool, floor: float) -> None:
    cells, rng = _enclosed(40), np.random.default_rng(3)
    found = leaving(cells, floor, spins=spins)
    assert found.spins == spins
    assert (found.low < found.high).all()
    np.testing.assert_array_equal(found.low[1:], found.high[:-1])
    top = cells.lead_high.max()
    if floor > top:
        assert found.low.size == 0
        return
    assert found.low[0] == pytest.approx(floor if floor else 0.0)
    assert found.high[-1] == top
    share = rng.uniform(0.0, 1.0, (2, 200, 40))
    lead = cells.lead_low + share[0] * (cells.lead_high - cells.lead_low)
    band = cells.band_low + share[1] * (cells.band_high - cells.band_low) if spins else lead
    kept = lead >= floor
    inside = (found.low <= lead[..., None]) & (lead[..., None] <= found.high)
    inside &= (found.band_low <= band[..., None]) & (band[..., None] <= found.band_high)
    assert inside.any(axis=-1)[kept].all()
    # The fastest boxes are narrow.
    assert found.high[-1] - found.low[-1] < 1e-3 * top


def test_entries_that_no_cell_reaches_are_left_out() -> None:
    one = np.array([10.0])
    found = leaving(Enclosed(one, one, one * 0.99, one, one * 0.5, one * 0.6, one), 0.0, spins=True)
    assert found.low.min() > 9.0
    np.testing.assert_allclose(found.band_low, 5.0)
    np.testing.assert_allclose(found.band_high, 6.0)


@pytest.mark.parametrize("spins", [True, False])
def test_free_path_keeps_every_entry_inside(spins: bool) -> None:
    rng = np.random.default_rng(4)
    low = np.array([0.3, 0.6, 0.9, 1.5, 3.0, 7.0, 12.0, 20.0])
    band = low * rng.uniform(0.4, 1.0, 8) if spins else low
    widths = rng.uniform(0.0, 0.1, (2, 8)) * low
    entries = Entries(low, low + widths[0], band, band + widths[1] if spins else low + widths[0], spins)
    found = after_run(GUIDED, entries, 0.05, 0.6)
    inertia = GUIDED.projectile.shape.inertia_factor
    for share, other in product(np.linspace(0, 1, 6), repeat=2):
        lead = entries.low + share * (entries.high - entries.low)
        # It spins forwards, or not.
        z = np.minimum(entries.band_low + other * (entries.band_high - entries.band_low), lead) if spins else lead
        speed = (lead + inertia * z) / (1 + inertia)
        for path in (0.05, 0.3, 0.6):
            lost = speed - np.asarray(free_run(GUIDED.guide, GUIDED.projectile, speed, path))
            assert (lost > 0).all()
            assert (found.low <= lead - lost + 1e-9).all()
            assert (found.high >= lead - lost - 1e-9).all()
            assert (found.band_low <= z - lost + 1e-9).all()
            assert (found.band_high >= z - lost - 1e-9).all()
    # The range grows by the difference of the losses and by what lies between samples.
    assert (found.high <= entries.high).all()
    assert (found.low >= entries.low - 2.5).all()
    assert after_run(HEAVY, entries, 0.05, 0.6) is entries


@pytest.mark.parametrize("spins", [True, False])
@pytest.mark.parametrize("path", [0.0, 0.05, 0.6])
def test_free_path_of_a_single_entry_ends_in_one_speed(spins: bool, path: float) -> None:
    lead = np.array([0.9, 1.5, 3.0, 7.0, 12.0, 20.0])
    band = lead * np.linspace(1.0, 0.3, 6) if spins else lead
    found = after_run(GUIDED, Entries(lead, lead, band, band, spins), path, path)
    inertia = GUIDED.projectile.shape.inertia_factor
    speed = (lead + inertia * band) / (1 + inertia)
    lost = speed - np.asarray(free_run(GUIDED.guide, GUIDED.projectile, speed, path))
    for ends in (found.low, found.high):
        np.testing.assert_allclose(ends, np.maximum(lead - lost, 0.0), atol=1e-9)
    for ends in (found.band_low, found.band_high):
        np.testing.assert_allclose(ends, band - lost if spins else np.maximum(lead - lost, 0.0), atol=1e-9)


def test_entries_of_later_stages_are_those_behind_the_free_path() -> None:
    task, at = scenario(GUIDED, wheel_speed=20.0), np.array([2.0, 5.0])
    arriving = Entries(at, at + 1.0, at, at + 1.0, False)
    first, second = (_task(task, index, arriving, 100.0, 1e-4) for index in (0, 1))
    assert isinstance(first, StageQuery)
    assert isinstance(second, StageQuery)
    np.testing.assert_array_equal(first.entries.high, arriving.high)
    expected = after_run(GUIDED, arriving, *runs(task, 1))
    np.testing.assert_array_equal(second.entries.low, expected.low)
    np.testing.assert_array_equal(second.entries.high, expected.high)
    assert (second.entries.high < arriving.high).all()


@pytest.mark.parametrize("stiffening", [0.0, 0.03, -0.03])
@pytest.mark.parametrize("machine", [HEAVY, STREAMER], ids=["ball", "rod"])
def test_energy_ceiling_of_a_cell_holds_for_all_its_points(machine: Launcher, stiffening: float) -> None:
    machine = replace(machine, contact=replace(machine.contact, stiffening=stiffening))
    ceiling = pair_ceiling(machine, machine.stage(0))
    cells = _cells(30, spins=False)
    cells.high[WHEEL] += np.linspace(0.0, 20.0, 30)
    most = ceiling(cells)
    for share, other in product((0.0, 0.5, 1.0), repeat=2):
        at = cells.low + np.array([[share], [share], [other]]) * (cells.high - cells.low)
        assert (ceiling(Cells(at, at, cells.group)) <= most * (1 + 1e-12)).all()


@pytest.mark.parametrize(
    ("machine", "is_used"), [(HEAVY, True), (STREAMER, True), (FOAM, False)], ids=["pair", "pair, rod", "rail"]
)
def test_energy_ceiling_spares_cells_of_pairs_alone(machine: Launcher, is_used: bool) -> None:
    query = _task(scenario(machine, wheel_speed=20.0), 0, feed_entries(1.2), 100.0, 1e-4)
    assert isinstance(query, StageQuery)
    assert (query.ceiling is not None) == is_used
    # A rail turns a disc, which makes cells wide.
    assert query.steps == (STEPS if is_used else FINE_STEPS)
    if query.ceiling is not None:
        cells = _cells(5, spins=False)
        np.testing.assert_array_equal(query.ceiling(cells), pair_ceiling(machine, machine.stage(0))(cells))


def test_greatest_of_an_index_range() -> None:
    values, rng = np.random.default_rng(5).uniform(0.1, 1.0, 12), np.random.default_rng(6)
    first, last = rng.integers(0, 13, 60), rng.integers(0, 13, 60)
    expected = [max(values[one:two], default=0.0) for one, two in zip(first, last, strict=True)]
    np.testing.assert_array_equal(_greatest(values, first, last), expected)
    np.testing.assert_allclose(_below(np.array([10.0, np.inf]), 0.2, 30.0), [8.0 * (1 + 1e-4), 30.0])


def _limits(monkeypatch: pytest.MonkeyPatch, bends: float) -> Any:
    """Put a grip limit in place of that of the stage: it turns `bends` times over 20 m/s, and rises with spin."""

    def limit(speed: Any, spin: Any = 0.0) -> Any:
        return 10.0 + 2.0 * np.sin(bends * 2 * np.pi * speed / 20.0) + 1e-3 * spin

    def found(machine: Launcher, index: int, speed: Any, spin: Any, top: Any, *, margin: float) -> SimpleNamespace:
        assert margin == 0.05
        assert (top == 30.0).all()
        return SimpleNamespace(wheel_speed=limit(speed, spin))

    monkeypatch.setattr(entry_sets, "grip_limit", found)
    return limit


@pytest.mark.parametrize("width", [0.0, 0.05, 3.0])
def test_margin_to_grip_limits_that_bend_holds_between_the_speeds_tried(
    monkeypatch: pytest.MonkeyPatch, width: float
) -> None:
    limit, low = _limits(monkeypatch, 12), np.linspace(0.0, 20.0 - width, 900)
    most = margins(HEAVY, 0, 20.0, 30.0, 0.05)(low, low + width)
    inside = limit(np.linspace(low, low + width, 200)).max(axis=0)
    assert (most >= 0.95 * inside).all()
    # What is added is as much as the limit bends within two intervals.
    assert (most <= 0.95 * (inside + 1.5)).all()


@pytest.mark.parametrize("bent", [0, 1, 40, 95, 96])
def test_margin_grows_beside_a_bend_of_the_grip_limit_alone(monkeypatch: pytest.MonkeyPatch, bent: int) -> None:
    nodes = np.linspace(0.0, 20.0, NODES)
    limits = 10.0 + 0.1 * np.arange(NODES) + 3.0 * (np.arange(NODES) == bent)

    def found(machine: Launcher, index: int, speed: Any, *rest: Any, margin: float) -> SimpleNamespace:
        return SimpleNamespace(wheel_speed=limits)

    monkeypatch.setattr(entry_sets, "grip_limit", found)
    low, high = nodes[:-1] + 0.01, nodes[1:] - 0.01
    most = margins(HEAVY, 0, 20.0, 30.0, 0.05)(low, high)
    straight = _below(np.interp([low, high], nodes, limits).max(axis=0), 0.05, 30.0)
    # An interval knows the bends at its ends, which are those of three limits each; at the ends of all, the next one.
    ends = np.arange(NODES - 1)[:, None] + [0, 1]
    middle = np.clip(ends, 1, NODES - 2)
    assert (most > straight + 1e-9).tolist() == (np.abs(middle - bent) <= 1).any(axis=1).tolist()


@pytest.mark.parametrize("spins", [True, False])
def test_margin_to_the_grip_limit_holds_for_every_entry_of_a_box(monkeypatch: pytest.MonkeyPatch, spins: bool) -> None:
    limit, low = _limits(monkeypatch, 1), np.linspace(0.2, 18.0, 60)
    band = low - 0.5 if spins else low
    entries = Entries(low, low + 1.0, band, band + 1.0, spins)
    most, rng = capped(HEAVY, 0, entries, 30.0, 0.05), np.random.default_rng(9)
    inertia, radius = HEAVY.projectile.shape.inertia_factor, float(HEAVY.projectile.radius)
    lead = low + rng.uniform(0.0, 1.0, (300, 60))
    z = band + rng.uniform(0.0, 1.0, (300, 60)) if spins else lead
    speed, spin = (lead + inertia * z) / (1 + inertia), (lead - z) / (1 + inertia) / radius
    inside = limit(np.maximum(speed, 0.0), spin).max(axis=0)
    assert (most >= 0.95 * inside).all()
    assert (most <= 0.95 * (inside + 0.6)).all()


def _query(spins: bool, *, steps: int = 24, **given: Any) -> StageQuery:
    entries = Entries(np.array([2.0, 4.0]), np.array([4.0, 5.0]), np.array([1.0, 3.0]), np.array([2.0, 6.0]), spins)
    if not spins:
        entries = replace(entries, band_low=entries.low, band_high=entries.high)

    def enclose(cells: Cells, steps: int) -> Enclosed:
        raise AssertionError

    query = StageQuery(enclose, Meter(), entries, np.array([20.0, 30.0]), 1e3, 50.0, 0.01, 10**6, steps)
    return replace(query, **given)


@pytest.mark.parametrize("spins", [True, False])
def test_first_cells_cover_all_entries_and_wheel_speeds(spins: bool) -> None:
    query = _query(spins)
    found, rng = _start(query), np.random.default_rng(7)
    for box in range(2):
        own = found.take(found.group == box)
        assert own.low[WHEEL].min() == 0.0
        assert own.high[WHEEL].max() == query.tops[box]
        np.testing.assert_allclose(np.sort(own.low[WHEEL])[1:], np.sort(own.high[WHEEL])[:-1])
        for side, (low, high) in (
            (ENTRY, (query.entries.low, query.entries.high)), (BAND, (query.entries.band_low, query.entries.band_high)),
        ):  # fmt: skip
            assert set(own.low[side]) == {low[box]}
            assert set(own.high[side]) == {high[box]}
    chosen = _points(query, found, rng.uniform(0.0, 1.0, len(found)))
    assert (chosen.low == chosen.high).all()
    assert (chosen.low[ENTRY] == query.entries.high[chosen.group]).all()


@pytest.mark.parametrize("spins", [True, False])
def test_cut_cells_fill_the_cell_along_its_widest_side(spins: bool) -> None:
    cells, query = _cells(30, spins=spins), _query(spins)
    parts = _cut(query, cells)
    assert len(parts) == PARTS * len(cells)
    for at in range(len(cells)):
        own = parts.take(np.arange(at, len(parts), len(cells)))
        assert set(own.group) == {cells.group[at]}
        width = (cells.high - cells.low)[:, at]
        weighted = width * WEIGHTS[:, 0] * ([1, 1, 1] if spins else [1, 0, 1])
        side = int(np.argmax(weighted))
        np.testing.assert_allclose(own.high[side] - own.low[side], width[side] / PARTS)
        np.testing.assert_allclose(own.low[side, 1:], own.high[side, :-1])
        assert (own.low[side, 0], own.high[side, -1]) == (cells.low[side, at], cells.high[side, at])
        for other in {ENTRY, BAND, WHEEL} - {side}:
            if spins or other != BAND:
                assert (own.low[other] == cells.low[other, at]).all()
                assert (own.high[other] == cells.high[other, at]).all()
        if not spins:
            np.testing.assert_array_equal(own.low[BAND], own.low[ENTRY])
            np.testing.assert_array_equal(own.high[BAND], own.high[ENTRY])


@pytest.mark.parametrize("spins", [True, False])
def test_points_are_in_the_cells_of_the_greatest_score(spins: bool) -> None:
    cells, query, score = _cells(20, spins=spins), _query(spins), np.random.default_rng(8).uniform(0, 1, 20)
    found, best = _points(query, cells, score), np.argsort(-score)[:8]
    assert len(found) == 16
    np.testing.assert_array_equal(found.low, found.high)
    middle = 0.5 * (cells.low + cells.high)
    np.testing.assert_array_equal(found.low[ENTRY], np.tile(cells.high[ENTRY, best], 2))
    np.testing.assert_array_equal(found.low[WHEEL], np.concatenate([middle[WHEEL, best], cells.high[WHEEL, best]]))
    np.testing.assert_array_equal(found.low[BAND], np.tile(middle[BAND, best] if spins else cells.high[ENTRY, best], 2))
    np.testing.assert_array_equal(found.group, np.tile(cells.group[best], 2))


def test_cells_above_the_goal_are_cut_highest_first_unless_they_are_small() -> None:
    cells, found, query = _cells(12), _enclosed(12), _query(True)
    small = np.array([3, 4])
    cells.high[:, small] = cells.low[:, small] * (1 + 1e-6)
    best = float(np.median(found.high)) / 1.01
    chosen = _active(query, StageCover(cells, found, best))
    expected = [n for n in np.argsort(-found.high, kind="stable") if found.high[n] > best * 1.01 and n not in small]
    assert chosen.tolist() == expected
    assert 0 < len(expected) < 10


def test_cells_that_may_jam_are_poor_where_they_may_be_fastest() -> None:
    cells, found = _cells(8), _enclosed(8)
    found.low[:4] = 0.0
    best = float(np.sort(found.high[:4])[1])
    fast = [n for n in range(4) if found.high[n] > best * 1.01]
    assert len(fast) == 2
    assert _poor(_query(True), cells, found, best).tolist() == fast
    # With few steps, only narrow ones.
    cells.high[:, fast[0]] = cells.low[:, fast[0]] * 1.0001
    assert _poor(_query(True, steps=12), cells, found, best).tolist() == [fast[0]]


def test_best_point_is_within_the_allowed_acceleration() -> None:
    found, query = _enclosed(9), _query(True)
    kept = found.strain <= 1e3
    assert 0 < kept.sum() < 9
    assert _best(query, found) == found.low[kept].max()
    assert _best(query, found.take(~kept)) == 0.0
    assert _best(replace(query, strain=float(found.strain.min())), found) == found.low[np.argmin(found.strain)]


def test_cell_is_dropped_where_two_lengths_of_steps_exceed_the_acceleration() -> None:
    cells, found, asked = _cells(6), _enclosed(6), []
    found.strain[:] = [900, 1000, 1001, 2000, 5000, 0]

    def enclose(some: Cells, steps: int) -> Enclosed:
        asked.append((len(some), steps))
        again = _enclosed(len(some))
        again.strain[:] = [999, 1001, 1000]
        return again

    assert _strained(_query(True, enclose=enclose), cells, found).tolist() == [False, False, False, True, False, False]
    assert asked == [(3, 48)]


@pytest.mark.parametrize("error", [0.0, 0.2, -0.05])
def test_bound_under_an_acceleration_does_not_rest_on_coarse_steps(error: float) -> None:
    # The exit is as fast as the wheel and pulls 100 /s times that, told wrong by fewer than 48 steps.
    def enclose(some: Cells, steps: int) -> Enclosed:
        low, high = some.low[WHEEL], some.high[WHEEL]
        return Enclosed(low, high, low, high, low, high, 100.0 * low * (1 + error * (steps < 48)))

    found = explore(_query(True, steps=12, enclose=enclose))
    assert found.settled
    assert 9.99 / 1.01 <= found.best <= 10.0 <= found.bound <= found.best * 1.011


def test_cells_are_enclosed_in_chunks_in_their_order() -> None:
    count = 5000
    low = np.arange(3.0 * count).reshape(3, count)
    cells, sizes = Cells(low, low, np.arange(count)), []

    def enclose(some: Cells, steps: int) -> Enclosed:
        sizes.append(len(some))
        return Enclosed(*some.low, *some.high, some.low[0])

    found = _run(enclose, cells, 12)
    assert sizes == [2048, 2048, 904]
    np.testing.assert_array_equal(found.low, low[0])
    np.testing.assert_array_equal(found.band_high, low[2])
    assert _run(enclose, cells.take(np.zeros(0, np.intp)), 12).low.size == 0


def test_search_ends_where_cells_that_may_jam_keep_doubling_or_the_bound_stalls() -> None:
    assert _hopeless([0, 1, 2, 4, 8, 16])
    assert _hopeless([9, 1, 2, 4, 8, 16])
    assert not _hopeless([1, 2, 4, 8])
    assert not _hopeless([0, 0, 2, 4, 8, 15])
    assert not _hopeless([0, 0, 0, 0, 0, 0])
    assert not _hopeless([1, 2, 4, 4, 8, 16])
    assert not _stalls([1.0] * 5)
    assert _stalls([1.0] * 6)
    assert _stalls([5.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.91])
    assert not _stalls([5.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.89])


def test_speed_of_a_bound_is_the_greatest_of_all_counts_or_the_cap() -> None:
    assert Bound((1.0, 9.0, 7.0), 20.0).speed == 9.0
    assert Bound((1.0, 9.0), 20.0, missing="something").speed == 20.0


LIMITS: dict[str, tuple[dict[str, float], set[str]]] = {
    "none": ({}, set()),
    "taken into account": ({"acceleration": 5e3, "grip_margin": 0.05, "exit_speed": 30.0}, set()),
    "needless beside another": ({"exit_speed": 5.0, "exit_energy": 1e5, "energy_per_area": 1e8}, set()),
    "of wheels": ({"length": 1.0, "rim_safety": 2.0}, set()),
    "heat": ({"slip_heat": 1.0}, {"slip_heat"}),
    "several": ({"slip_heat": 1.0, "acceleration": 5e3}, {"slip_heat"}),
}


@pytest.mark.parametrize("name", LIMITS)
def test_limits_that_a_bound_leaves_out_are_named(name: str) -> None:
    given, expected = LIMITS[name]
    task = scenario(HEAVY, wheel_speed=40.0)
    task = replace(task, limit_values=replace(task.limit_values, **given))
    assert not_used(task) == expected
    assert bound(task, 0).left_out == expected


def test_accelerations_of_limits_and_projectile_are_both_kept() -> None:
    task = scenario(HEAVY, wheel_speed=40.0)
    assert strain(task) == np.inf
    limited = replace(task, limit_values=replace(task.limit_values, acceleration=4e3))
    assert strain(limited) == pytest.approx(4e3 * 1.0005)
    for withstood, expected in ((3e3, 3e3), (5e3, 4e3)):
        projectile = replace(HEAVY.projectile, max_acceleration=withstood)
        launcher = replace(limited.launcher, projectile=projectile)
        assert strain(replace(limited, launcher=launcher)) == pytest.approx(expected * 1.0005)
    assert 40.0 < top_of(task, 0) <= 40.0 * (1 + 1e-5)


@pytest.mark.parametrize("name", ["seed_ball", "table_tennis"])
def test_free_path_is_longest_between_wheels_at_rest(name: str) -> None:
    task = load(CONFIGS / f"{name}.toml").scenario()
    least, most = runs(task, 1)
    stage, thrown = task.launcher.stage(1), task.launcher.projectile
    radius = float(stage.wheel.radius)
    # A ball touches a wheel from where their centres are as far apart as both radii.
    reach = radius + float(thrown.diameter) / 2
    contact = np.sqrt(reach**2 - (reach - float(stage.crush) / 2) ** 2)
    assert most == pytest.approx(2 * radius + float(stage.clearance) - 2 * contact, rel=1e-9)
    assert least < most
    assert runs(scenario(CLOSE, wheel_speed=40.0), 1)[0] < 0


@pytest.mark.parametrize(
    ("change", "missing"),
    [
        ({"goal": "spin"}, "pairs at two speeds"),
        ({"feed": "spin"}, "a projectile that enters with spin"),
        ({"feed": "push"}, "a projectile that is pushed on through the first stage"),
    ],
)
def test_what_has_no_bound_but_the_cap_is_named(change: dict[str, str], missing: str) -> None:
    task = scenario(HEAVY, wheel_speed=40.0)
    if "goal" in change:
        task = replace(task, goal=replace(task.goal, spin=20.0))
    else:
        feed = replace(HEAVY.feed, **{change["feed"]: 3.0})
        task = replace(task, launcher=replace(task.launcher, feed=feed))
    found = bound(task, 2)
    assert (found.missing, found.evidence, len(found.speeds)) == (missing, "", 1)
    assert found.speed == found.cap


def test_setting_at_the_cap_needs_no_bound() -> None:
    task = scenario(HEAVY, wheel_speed=40.0, exit_energy=0.5)
    cap = np.sqrt(2 * 0.5 / float(HEAVY.projectile.mass))
    found = bound(task, 3, reached=cap)
    assert found.speeds == (float(HEAVY.feed.speed), found.cap)
    assert cap <= found.cap <= cap * (1 + 2e-6)
    # Stages behind one that may reach the cap cannot raise the bound.
    assert bound(task, 3).speeds == found.speeds
    # No stage at all: the bound is the feed.
    assert bound(task, 0).speeds == (float(HEAVY.feed.speed),)


@pytest.mark.parametrize(
    ("machine", "margin", "evidence"),
    [
        (HEAVY, 0.0, ""),
        (HEAVY, 0.05, "grip limits between the entry speeds that were tried"),
    ],
)
def test_numerical_evidence_of_a_bound_is_named(machine: Any, margin: float, evidence: str) -> None:
    task = scenario(machine, wheel_speed=12.0)
    task = replace(task, limit_values=replace(task.limit_values, grip_margin=margin))
    assert bound(task, 1).evidence == evidence


def _floors(seed: int, counts: tuple[int, ...] = (1, 4, 5), cells: int = 9) -> list[Floor]:
    rng = np.random.default_rng(seed)
    floors = []
    for count in counts:
        edges = np.linspace(0.0, 12.0, count + 1) if count > 1 else np.array([1.0, 1.0])
        low = rng.uniform(0.0, 11.0, cells)
        wheel = rng.uniform(0.0, 5.0, cells)
        floors.append(Floor(
            edges[:-1], edges[1:],
            Pieces(rng.integers(0, count, cells), wheel, wheel + 1.0, low, low + rng.uniform(0.0, 3.0, cells),
                   rng.permutation(128)[:cells] / 64.0),
        ))  # fmt: skip
    return floors


@pytest.mark.parametrize("seed", range(6))
def test_cells_on_a_chain_within_the_budget_are_kept_and_no_others(seed: int) -> None:
    floors, target = _floors(seed), 8.0

    def meets(number: int, cell: int, after: int) -> bool:
        piece, slices = floors[number].pieces, floors[number + 1]
        which = slices.pieces.slice[after]
        return bool(piece.exit_low[cell] <= slices.high[which] and piece.exit_high[cell] >= slices.low[which])

    heats = {
        chain: sum(float(floor.pieces.heat[cell]) for floor, cell in zip(floors, chain, strict=True))
        for chain in product(range(9), repeat=3)
        if all(meets(number, *chain[number : number + 2]) for number in range(2))
        and floors[-1].pieces.exit_high[chain[-1]] > target
    }
    # One chain takes the whole budget; heats are whole multiples of 1/64 J, so that sums are exact.
    budget = sorted(heats.values() or [1.0])[len(heats) // 8]
    kept = [{chain[number] for chain, heat in heats.items() if heat <= budget} for number in range(3)]
    found = _critical(floors, budget, target)
    for number, floor in enumerate(found):
        assert set(floor.pieces.heat) == {floors[number].pieces.heat[cell] for cell in kept[number]}


@pytest.mark.parametrize("seed", range(3))
def test_links_are_the_slices_that_a_cell_may_leave_into(seed: int) -> None:
    first, after = _floors(seed)[1:]
    cell, which = _links(first.pieces, after)
    expected = [
        (c, s) for c in range(9) for s in range(after.low.size)
        if first.pieces.exit_low[c] <= after.high[s] and first.pieces.exit_high[c] >= after.low[s]
    ]  # fmt: skip
    assert list(zip(cell.tolist(), which.tolist(), strict=True)) == expected


@pytest.mark.parametrize("parts", [1, 2])
def test_cut_slices_and_wheel_speeds_fill_the_cells(parts: int) -> None:
    floor = _floors(1)[1]
    floor = replace(floor, pieces=floor.pieces.take(floor.pieces.slice != 2))
    low, high, fresh = _parts(floor, parts)
    used = sorted(set(floor.pieces.slice))
    np.testing.assert_allclose(low[::parts], floor.low[used])
    np.testing.assert_allclose(high[parts - 1 :: parts], floor.high[used])
    np.testing.assert_allclose(low[1::parts] if parts > 1 else high[::1], high[::parts])
    assert low.size == parts * len(used)
    assert fresh.slice.size == parts * BUDGET_PARTS * floor.pieces.slice.size
    for at in range(floor.pieces.slice.size):
        own = fresh.take(fresh.heat == floor.pieces.heat[at])
        places = {(float(low[s]), float(high[s])) for s in own.slice}
        assert min(places)[0] == floor.low[floor.pieces.slice[at]]
        assert max(places)[1] == floor.high[floor.pieces.slice[at]]
        for slice_ in set(own.slice):
            part = own.take(own.slice == slice_)
            assert part.wheel_low.min() == floor.pieces.wheel_low[at]
            assert part.wheel_high.max() == floor.pieces.wheel_high[at]
            np.testing.assert_allclose(np.sort(part.wheel_low)[1:], np.sort(part.wheel_high)[:-1])


def test_motor_is_a_force_at_the_rim() -> None:
    drive = Drive(speed_constant=100.0, resistance=0.05, no_load_current=1.0, current_limit=30.0, gear=2.0)
    stage = replace(HEAVY.stage(0), drive=drive)
    radius = float(stage.wheel.radius)
    assert radius == 0.04
    found = motor_of(stage)
    # 1 A is 0.01 N m at the motor, 0.02 N m at the wheel, 0.5 N at its rim. 1 m/s lost is 25 rad/s of the wheel, 50 of
    # the motor, hence 0.5 V over 0.05 ohm: 10 A.
    assert (found.slope, found.stall, found.idling) == pytest.approx((5.0, 15.0, 0.5))
    assert found.wheel_mass == pytest.approx(float(driven_inertia(stage)) / radius**2)
    assert not found.coasts
    speeds = np.array([0.0, 10.0])
    np.testing.assert_allclose(found.holding(speeds), 0.5 + windage(stage.wheel, speeds / radius) / radius)
    still = motor_of(replace(stage, drive=None))
    assert (still.slope, still.stall, still.idling, still.coasts) == (0.0, 0.0, 0.0, True)
    assert still.holding(speeds).tolist() == [0.0, 0.0]


def test_shared_heat_tightens_nothing_without_a_known_setting_or_below_it() -> None:
    task, known = scenario(HEAVY, wheel_speed=40.0, slip_heat=1.0), Bound((1.2, 12.0, 20.0), 30.0)
    assert shared(task, known, None, None) is known
    assert shared(task, known, 19.95, 2) is known
    assert shared(task, replace(known, missing="a reason"), 1.0, 2).speeds == known.speeds
    asked = replace(known, asked=20.02)
    assert shared(task, asked, 20.0, 2) is asked
