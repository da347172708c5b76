"""Holding wheel speeds on a supply with internal resistance, and the inverse."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.model.stage import Supply
from stager.physics.motor import build_drivetrain, hold, loaded_voltage, peak_draw, recovery_draw, steady_speeds
from tests.drive.machines import DRIVE, SPEEDS, SUPPLY, launcher, on_the_bus

TRAIN = build_drivetrain(launcher(), 3)
assert TRAIN is not None
TARGET = SPEEDS / 0.04


def test_holding_current_covers_no_load_loss_and_windage() -> None:
    there = hold(TRAIN, TARGET, SUPPLY)
    drag = TRAIN.disc.moment(TARGET)
    assert there.current * TRAIN.pull == pytest.approx(1.1 * TRAIN.pull + drag)
    assert there.voltage == pytest.approx(TARGET * TRAIN.pull + 0.06 * there.current)
    assert there.reached


def test_bus_voltage_sags_by_the_supply_resistance() -> None:
    # V = V₀ − R·I at the terminals, P = V·I: two equations that any battery model of one resistance has.
    there = hold(TRAIN, TARGET, SUPPLY)
    assert there.bus_voltage == pytest.approx(14.8 - 0.03 * there.power / there.bus_voltage)
    assert there.power == pytest.approx((2 * there.voltage * there.current).sum())


@given(st.lists(st.floats(1.0, 60.0), min_size=3, max_size=3), st.floats(0.0, 0.3))
def test_settle_inverts_hold(speeds: list[float], resistance: float) -> None:
    supply = replace(SUPPLY, resistance=resistance)
    target = np.array(speeds) / 0.04
    there = hold(TRAIN, target, supply)
    if there.reached:
        assert steady_speeds(TRAIN, there.throttle, supply) == pytest.approx(target, rel=1e-9)


def test_shared_supply_needs_more_throttle() -> None:
    together = hold(TRAIN, TARGET, SUPPLY).throttle
    for column in range(3):
        alone = build_drivetrain(launcher(), 1)
        assert alone is not None
        assert together[column] > hold(alone, TARGET[[column]], SUPPLY).throttle[0]


def test_speed_beyond_the_supply_needs_throttle_above_one() -> None:
    fast = hold(TRAIN, TARGET * 10, SUPPLY)
    assert not fast.reached
    assert fast.throttle.max() > 1
    weak = hold(TRAIN, TARGET, replace(SUPPLY, resistance=20.0))
    assert not weak.reached
    assert (weak.throttle > 1).all()


def test_low_current_limit_makes_the_speed_unreachable() -> None:
    weak = build_drivetrain(launcher(drive=replace(DRIVE, current_limit=1.0)), 3)
    assert weak is not None
    assert not hold(weak, TARGET, SUPPLY).reached


def test_steady_speed_at_full_and_zero_throttle() -> None:
    # Without no-load current the speed is Kv·V, less a little windage.
    ideal = build_drivetrain(launcher(drive=replace(DRIVE, no_load_current=0.0)), 1)
    assert ideal is not None
    speed = steady_speeds(ideal, np.ones(1), Supply(voltage=14.8))
    assert speed[0] < 14.8 * DRIVE.speed_constant
    assert speed[0] == pytest.approx(14.8 * DRIVE.speed_constant, rel=2e-2)
    assert steady_speeds(TRAIN, np.zeros(3), SUPPLY) == pytest.approx(np.zeros(3))


@given(st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3), st.lists(st.floats(0.0, 2000.0), min_size=3, max_size=3))
def test_bus_voltage_and_currents_satisfy_ohms_law(throttle: list[float], speed: list[float]) -> None:
    current, power, volts = on_the_bus(TRAIN, np.array(throttle), np.array(speed))
    assert volts == pytest.approx(14.8 - 0.03 * (TRAIN.count * power).sum() / volts, abs=1e-9)
    asked = (np.array(throttle) * volts - TRAIN.pull * np.array(speed)) / 0.06
    assert current == pytest.approx(np.clip(asked, 0, 30.0), abs=1e-6)


@given(
    st.lists(st.sampled_from([0.8, 1.0, 1.05]), min_size=3, max_size=3), st.booleans(), st.sampled_from([1.0, 7.0])
)  # fmt: skip
def test_governors_give_all_below_the_set_speed_and_nothing_above(
    share: list[float], governed: bool, faster: float
) -> None:
    # The fastest wheel cannot be held at seven times its speed: no throttle is beyond full.
    target = faster * TARGET
    train = build_drivetrain(launcher(drive=replace(DRIVE, governed=governed)), 3)
    assert train is not None
    there = hold(train, target, SUPPLY)
    current, volts = recovery_draw(train, there, share * target, SUPPLY)
    throttle = np.minimum(there.throttle, 1.0)
    if governed:
        throttle = np.select([np.less(share, 1.0), np.greater(share, 1.0)], [1.0, 0.0], throttle)
    emf = train.pull * share * target
    assert current == pytest.approx(np.clip((throttle * volts - emf) / 0.06, 0, 30.0), abs=1e-6)
    power = (train.count * current * (emf + 0.06 * current)).sum()
    assert volts == pytest.approx(14.8 - 0.03 * power / volts, abs=1e-9)


def test_currents_at_held_speeds_match_hold() -> None:
    there = hold(TRAIN, TARGET, SUPPLY)
    current, _, volts = on_the_bus(TRAIN, np.minimum(there.throttle, 1.0), TARGET)
    assert current == pytest.approx(there.current)
    assert volts == pytest.approx(float(there.bus_voltage))


def test_batch_equals_single_calls() -> None:
    supply = Supply(voltage=np.array([10.0, 14.8]), resistance=np.array([0.1, 0.03]))
    both = hold(TRAIN, np.stack([TARGET, 1.1 * TARGET]), supply)
    for row, factor in enumerate((1.0, 1.1)):
        one = hold(TRAIN, factor * TARGET, Supply(voltage=supply.voltage[row], resistance=supply.resistance[row]))
        assert both.throttle[row] == pytest.approx(one.throttle, rel=1e-14)
    peaks = peak_draw(TRAIN, both.throttle, supply)
    assert np.shape(peaks) == (2, 2)


def test_overloaded_supply_delivers_half_its_voltage() -> None:
    # Greatest power of a source with resistance: V²/(4R) at half its voltage; any textbook.
    assert loaded_voltage(SUPPLY, 14.8**2 / (4 * 0.03)) == pytest.approx(7.4)
    assert loaded_voltage(SUPPLY, 1e9) == pytest.approx(7.4)
    assert loaded_voltage(SUPPLY, 0.0) == pytest.approx(14.8)


def test_no_drivetrain_without_drives_or_stages() -> None:
    assert build_drivetrain(launcher(drive=None), 2) is None
    assert build_drivetrain(launcher(), 0) is None
