"""What the drives go through at a throwing rate: recovery, spin-up, winding temperature, and its report."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from stager.constraints import OperatingPoint, evaluate_limits, not_judged
from stager.constraints.drives import RECOVERED, Duty, duty
from stager.constraints.limit import NOT_SETTLED
from stager.model.arrays import Floats
from stager.model.launcher import Launcher, Scenario
from stager.model.requirements import Aim, Goal, LimitValues
from stager.model.stage import Drive
from stager.optimise.judge import judge_settings
from stager.physics.chain import throw
from stager.physics.heat import Loss, after, steady
from stager.physics.rate import settled
from stager.physics.transient import transient
from stager.report import check
from stager.report import drives as report
from stager.report.answer import Provenance
from tests.drive.machines import DRIVE, HEAT, SUPPLY, launcher

SPEEDS = np.array([8.0, 11.0])
WARM = launcher(drive=replace(DRIVE, heat=HEAT), rate=4.0, session=600.0)
LIMIT = 300.0
"""Winding temperature limit [K]."""
SLOW = np.array([0.5, 0.5])
"""Wheel speeds [m/s] at which a projectile fed at 0.1 m/s jams."""


def _duty(machine: Launcher, speeds: Floats = SPEEDS, **given: float) -> Duty | None:
    limit_values = LimitValues(**{"exit_energy": 8.0, **given})  # type: ignore[arg-type]
    return duty(OperatingPoint(launcher=machine, limit_values=limit_values, throw=throw(machine, speeds)))


@pytest.fixture(scope="module")
def found() -> Duty:
    made = _duty(WARM, winding_temperature=LIMIT)
    assert made is not None
    return made


def test_wheels_recover_within_the_recovery_time(found: Duty) -> None:
    assert found.settled is not None
    assert found.recovery is not None
    after = found.holding.angular_speed * (1 - found.settled.droop)
    for share, back in ((0.9, False), (1.1, True)):
        speed, _ = transient(found.train, found.holding, SUPPLY, after, share * found.recovery, energies=False)
        assert bool((speed >= (1 - RECOVERED) * found.holding.angular_speed).all()) is back


def test_spin_up_in_turn_is_slower_and_draws_less(found: Duty) -> None:
    assert found.in_turn.time > found.together.time
    assert found.in_turn.current < found.together.current


def test_time_to_the_winding_limit_is_finite_below_the_steady_state(found: Duty) -> None:
    assert found.winding_duty is not None
    assert found.winding_duty.reaches is not None
    ends = found.winding_duty.steady > LIMIT
    assert ends.any()
    assert (np.isfinite(found.winding_duty.reaches) == ends).all()
    there = found.winding_duty.windings.temperature(found.winding_duty.reaches[ends][0])
    assert there[ends][0] == pytest.approx(LIMIT, abs=1e-3)


def test_warm_windings_need_more_throttle(found: Duty) -> None:
    # Throttle·V = Kω + RI with copper resistance R at winding temperature (IEC 60028), V under the load of all.
    assert found.winding_duty is not None
    factor = 1 + 3.93e-3 * (found.winding_duty.session - 293.15)
    volts = found.train.pull * found.holding.angular_speed + 0.06 * factor * found.holding.current
    assert (found.winding_duty.throttle > found.holding.throttle).all()
    assert found.winding_duty.throttle == pytest.approx(volts / found.holding.bus_voltage, rel=1e-4)


def test_report_covers_motors_rate_and_spin_up(found: Duty) -> None:
    content = report.summary(WARM, found)
    assert [row["stage"] for row in content["wheels"]] == [1, 2]
    assert content["at_rate"]["energy_per_throw_J"] * 4 == pytest.approx(content["at_rate"]["average_power_W"])
    assert content["at_rate"]["throws_per_charge"] > 0
    assert [table.title for table in report.tables(content)] == ["Motors", "Throw after throw"]
    message = " ".join(report.notes(content))
    assert "Spin-up" in message
    assert "% of the time at most" in message


def test_wheel_that_cannot_be_held_with_warm_windings_is_named(found: Duty) -> None:
    content = report.summary(WARM, found)
    assert "warm windings" not in " ".join(report.notes(content))
    content["wheels"][1] |= {"throttle": 0.99, "throttle_warm": 1.03}
    assert "With warm windings wheel 2 cannot be held" in " ".join(report.notes(content))


def test_share_of_the_time_is_told_for_short_bursts_and_rounded_down(found: Duty) -> None:
    assert found.winding_duty is not None
    share = found.winding_duty.share
    assert share is not None
    column = int(np.argmin(share))
    told = re.search(r"for (\d+) % of the time at most, in bursts", " ".join(report.notes(report.summary(WARM, found))))
    assert told is not None
    assert int(told[1]) / 100 <= float(share[column])
    # The mean loss of the share leaves the winding at its limit; a long burst takes it almost to the steady state.
    long = found.winding_duty.windings.temperature(3600.0)
    assert long[column] > LIMIT


def test_windings_limit_the_highest_rate() -> None:
    free = _duty(WARM)
    assert free is not None
    assert free.highest_rate is not None
    warm = {
        rate: made.winding_duty.session.max() for rate in (0.5, 4.0)
        if (made := _duty(replace(WARM, feed=replace(WARM.feed, rate=rate)))) and made.winding_duty
    }  # fmt: skip
    limit = float(warm[0.5] + warm[4.0]) / 2
    made = _duty(WARM, winding_temperature=limit)
    assert made is not None
    assert made.highest_rate is not None
    assert 0.5 < made.highest_rate < min(4.0, free.highest_rate)
    content = report.summary(WARM, made)
    assert content["highest_rate_by"] == "heat"
    assert any(f"up to {made.highest_rate:.3g}" in note for note in report.notes(content))
    for share, kept in ((0.98, True), (1.02, False)):
        beside = _duty(replace(WARM, feed=replace(WARM.feed, rate=share * made.highest_rate)))
        assert beside is not None
        assert beside.winding_duty is not None
        assert bool((beside.winding_duty.session <= limit).all()) is kept
    cool = _duty(WARM, winding_temperature=1000.0)
    assert cool is not None
    assert (cool.heat_rate, cool.highest_rate) == (None, free.highest_rate)
    cold = _duty(WARM, winding_temperature=289.0)
    assert cold is not None
    assert cold.highest_rate == 0.0


def test_note_says_that_holding_the_wheels_alone_is_too_hot() -> None:
    made = _duty(WARM, winding_temperature=289.0)
    assert made is not None
    assert made.winding_duty is not None
    assert made.winding_duty.share is not None
    assert float(made.winding_duty.share.min()) == 0.0
    (note,) = (line for line in report.notes(report.summary(WARM, made)) if "Windings" in line)
    assert "even without throws" in note


def test_report_leaves_out_rate_and_heat_without_their_data() -> None:
    bare = _duty(launcher())
    assert bare is not None
    content = report.summary(launcher(), bare)
    assert content["at_rate"] is None
    assert content["wheels"][0]["winding_K"] is None
    assert [table.title for table in report.tables(content)] == ["Motors"]
    assert content["highest_rate_1_s"] > 0


def test_no_duty_without_drives_or_after_a_jam() -> None:
    assert _duty(launcher(drive=None)) is None
    assert _duty(launcher(feed=0.1), SLOW) is None


def test_jam_at_the_rate_fails_the_check() -> None:
    # Governors too weak for the rate: the first throw passes, throws in the steady state jam.
    machine = launcher(drive=replace(DRIVE, governed=True, current_limit=2.0), rate=15.0)
    design = OperatingPoint(launcher=machine, limit_values=LimitValues(exit_energy=8.0), throw=throw(machine, SPEEDS))
    answer = check.answer(design, evaluate_limits(design), Provenance(config_sha256="", seed=0))
    assert not design.throw.jammed
    assert not any(limit["kept"] is False for limit in answer.document["limits"])
    assert answer.document["kept"] is answer.yes is False
    assert answer.screen is not None
    assert answer.screen.headline.startswith("It jams at the feed's rate")


def test_nothing_is_told_of_steady_throws_that_jam() -> None:
    # Wheels behind the one in which it jams count as at rest, and energies of such throws were negative.
    motor = replace(DRIVE, governed=True, current_limit=2.0, heat=HEAT)
    machine = launcher(drive=motor, rate=15.0, session=600.0)
    limit_values = LimitValues(exit_energy=8.0, average_power=1e4, winding_temperature=500.0)
    point = OperatingPoint(launcher=machine, limit_values=limit_values, throw=throw(machine, SPEEDS))
    missing = {one.name: one.missing for one in not_judged(point)}
    assert missing["average_power"] == missing["winding_temperature"] == NOT_SETTLED
    many = OperatingPoint(
        launcher=machine, limit_values=limit_values, throw=throw(machine, np.tile(SPEEDS, (2, 1)))
    )  # fmt: skip
    slacks = {one.name: one.slack for one in evaluate_limits(many)}
    assert np.isnan([slacks["average_power"], slacks["winding_temperature"]]).all()
    made = duty(point)
    assert made is not None
    content = report.summary(machine, made)
    at_rate = content["at_rate"]
    assert at_rate["jammed"]
    told = ("recovery_time_s", "average_power_W", "energy_per_throw_J", "throws_per_charge", "settled_exit_speed_m_s")
    assert [at_rate[name] for name in told] == [None, None, None, None, 0.0]
    assert all(row["droop_fraction"] is row["missing_fraction"] is None for row in content["wheels"])
    assert all(row["winding_after_long_K"] is None for row in content["wheels"])
    assert report.tables(content)


def test_holding_alone_breaks_a_limit_of_steady_throws_that_jam() -> None:
    machine = launcher(drive=replace(DRIVE, governed=True, current_limit=2.0), rate=15.0)
    little = LimitValues(exit_energy=8.0, average_power=1.0)
    point = OperatingPoint(launcher=machine, limit_values=little, throw=throw(machine, SPEEDS))
    assert [one.name for one in evaluate_limits(point, remedies=True) if not one.satisfied] == ["average_power"]


def test_a_table_of_settings_tells_jams_at_the_rate() -> None:
    machine = launcher(drive=replace(DRIVE, governed=True, current_limit=2.0), rate=15.0)
    scenario = Scenario(
        title="", launcher=machine, limit_values=LimitValues(exit_energy=8.0), goal=Goal(aim=Aim.FASTEST), values={},
        uncertain=(), realise=lambda given: machine,
    )  # fmt: skip
    judged = judge_settings(scenario, np.array([SPEEDS]))
    assert not judged.jammed.any()
    assert (check.verdicts(judged), check.tightest(judged)) == (["no"], [check.JAM])


def test_plan_reports_the_steady_exit_speed() -> None:
    limit_values = LimitValues(exit_energy=8.0)
    kept = OperatingPoint(launcher=WARM, limit_values=limit_values, throw=throw(WARM, SPEEDS))
    content = report.settled(kept)
    assert content is not None
    assert content["exit_speed_m_s"] == pytest.approx(float(kept.throw.exit_speed) * (1 - content["loss_fraction"]))
    assert "settles at" in report.settled_note(content)[0]
    weak = launcher(drive=replace(DRIVE, governed=True, current_limit=2.0), rate=15.0)
    jammed = report.settled(OperatingPoint(launcher=weak, limit_values=limit_values, throw=throw(weak, SPEEDS)))
    assert "jams" in report.settled_note(jammed)[0]
    assert (
        report.settled_note(
            report.settled(OperatingPoint(launcher=launcher(), limit_values=limit_values, throw=kept.throw))
        )
        == []
    )


@pytest.mark.parametrize("loss", [1.0, 3.0, 5.0])
@pytest.mark.parametrize("feed", [1.0, 3.0, 5.0])
@pytest.mark.parametrize("heat", [None, 0.0, 0.5])
def test_highest_rate_is_the_least_of_feed_loss_and_heat(
    found: Duty, loss: float, feed: float, heat: float | None
) -> None:
    # The feed is named where both are the same: the loss is then not reached.
    assert found.highest is not None
    given = replace(found, highest=np.asarray(loss), feed_rate=feed, heat_rate=heat)
    assert given.highest_rate == (min(loss, feed) if heat is None else heat)
    assert given.decides == ("heat" if heat is not None else "feed" if feed <= loss else "loss")
    unknown = replace(given, highest=None)
    assert (unknown.highest_rate, unknown.decides) == (None, None)


def test_highest_rate_is_that_of_the_loss_asked_for() -> None:
    # At the highest rate the settled throw lacks the share that is asked for, 5 % where none is.
    for asked in (None, 0.02):
        made = _duty(WARM) if asked is None else _duty(WARM, settled_loss=asked)
        assert made is not None
        assert made.highest is not None
        assert made.loss == (asked or 0.05)
        at = settled(WARM, float(made.highest), SPEEDS)
        assert at is not None
        assert float(at.loss) == pytest.approx(made.loss, rel=0.02)


@pytest.mark.parametrize("limit", [None, 289.0, 303.0, 304.5, 500.0])
def test_winding_duty_is_that_of_the_thermal_network(limit: float | None) -> None:
    # A duty of the share `share` ends at the limit: the losses of throwing and resting are mixed by it.
    made = _duty(WARM) if limit is None else _duty(WARM, winding_temperature=limit)
    assert made is not None
    warm = made.winding_duty
    assert warm is not None
    assert warm.steady == pytest.approx(steady(warm.windings.network, warm.windings.loss)[0])
    assert warm.session == pytest.approx(after(warm.windings.network, warm.windings.loss, 600.0))
    if limit is None:
        assert (warm.share, warm.reaches) == (None, None)
        return
    assert warm.share is not None
    assert warm.reaches is not None
    hot, cool = warm.windings.loss, warm.windings.resting
    mixed = Loss(
        copper=warm.share * hot.copper + (1 - warm.share) * cool.copper,
        idle=warm.share * hot.idle + (1 - warm.share) * cool.idle,
    )
    there = steady(warm.windings.network, mixed)[0]
    within = (warm.share > 0) & (warm.share < 1)
    assert there[within] == pytest.approx(limit)
    assert (there[warm.share == 1] <= limit).all()
    assert (there[warm.share == 0] >= limit).all()
    reached = np.isfinite(warm.reaches)
    assert (reached == (warm.steady > limit)).all()
    assert after(warm.windings.network, hot, warm.reaches)[reached] == pytest.approx(limit)


@pytest.mark.parametrize("split", [False, True])
def test_warm_throttle_of_two_speeds_has_a_column_for_each_motor(split: bool) -> None:
    # Throttle = (Kω + R(1 + αΔT)I)/V, with V under the load of all motors; a stage without thermal data stays cold.
    cold = replace(WARM.template, drive=DRIVE)
    machine = replace(WARM, stages=(cold, WARM.template))
    second = np.array([8.0, 10.0]) if split else None
    point = OperatingPoint(
        launcher=machine, limit_values=LimitValues(exit_energy=8.0), throw=throw(machine, SPEEDS, second)
    )  # fmt: skip
    made = duty(point)
    assert made is not None
    assert made.winding_duty is not None
    assert made.winding_duty.windings.column == ((2, 3) if split else (1,))
    current, pull, turns = made.holding.current, made.train.pull, made.holding.angular_speed
    factor = np.ones(made.train.size)
    factor[list(made.winding_duty.windings.column)] += 3.93e-3 * (made.winding_duty.session - 293.15)
    volts = pull * turns + 0.06 * factor * current
    power = float((made.train.count * current * volts).sum())
    bus = (14.8 + (14.8**2 - 4 * 0.03 * power) ** 0.5) / 2
    expected = (volts / bus)[list(made.winding_duty.windings.column)]
    assert made.winding_duty.throttle == pytest.approx(expected)


UNKNOWN = replace(DRIVE, no_load_current=0.0, no_load_known=False)
"""A motor of unknown no-load current; `limit.NO_LOAD` of its stall current is 12 A."""


def test_what_an_unknown_no_load_current_would_change_is_not_judged() -> None:
    # Governed motors of up to 16 A: with 12 A for themselves they recover about four times as slowly as with 0 A, and
    # heat up. A value that the greatest assumed current changes is not told; limits on it are not judged either.
    weak = launcher(drive=replace(UNKNOWN, governed=True, current_limit=16.0, heat=HEAT), rate=4.0, session=600.0)
    made = _duty(weak, winding_temperature=LIMIT)
    assert made is not None
    assert made.settled is not None
    assert made.missing == "stage.drive.no_load_current"
    assert (made.recovery, made.highest_rate, made.decides) == (None, None, None)
    assert made.winding_duty is not None
    assert (made.winding_duty.reaches, made.winding_duty.share) == (None, None)
    content = report.summary(weak, made)
    assert content["missing"] == made.missing
    message = " ".join(report.notes(content))
    assert "stage.drive.no_load_current" in message
    assert "throws a second" not in message
    assert "Windings" not in message
    known = _duty(launcher(drive=replace(DRIVE, heat=HEAT), rate=4.0, session=600.0), winding_temperature=LIMIT)
    assert known is not None
    assert known.missing is None
    assert report.summary(weak, known)["missing"] is None


@pytest.mark.parametrize("drive", [UNKNOWN, DRIVE])
def test_motors_reckoned_without_their_own_losses_are_told_to_be_so(drive: Drive) -> None:
    machine = launcher(drive=drive, rate=4.0)
    made = _duty(machine)
    assert made is not None
    message = " ".join(report.notes(report.summary(machine, made)))
    assert ("reckoned without stage.drive.no_load_current, which is unknown" in message) == (drive is UNKNOWN)


def test_motors_of_stages_that_are_not_used_are_not_told_of() -> None:
    known = launcher(drive=DRIVE, rate=4.0).template
    machine = replace(launcher(drive=UNKNOWN, rate=4.0), stages=(known, known, known))
    made = _duty(machine)
    assert made is not None
    assert "reckoned without" not in " ".join(report.notes(report.summary(machine, made)))


def test_what_an_unknown_no_load_current_hardly_changes_is_that_of_the_greatest() -> None:
    # Wheels held by their throttle recover by the motor's line, whatever holds them; only the supply sags more.
    made = _duty(launcher(drive=UNKNOWN, rate=4.0))
    with_most = _duty(launcher(drive=replace(DRIVE, no_load_current=0.05 * 14.8 / 0.06), rate=4.0))
    with_none = _duty(launcher(drive=replace(DRIVE, no_load_current=0.0), rate=4.0))
    assert made is not None
    assert with_most is not None
    assert with_none is not None
    assert made.missing is None
    assert with_most.recovery is not None
    assert with_none.recovery is not None
    assert made.recovery == pytest.approx(with_most.recovery)
    assert with_none.recovery < with_most.recovery
    assert made.highest_rate == pytest.approx(with_most.highest_rate)


def test_recovery_is_not_told_where_the_greatest_no_load_current_cannot_hold_the_wheels() -> None:
    made = _duty(launcher(drive=replace(UNKNOWN, current_limit=10.0), rate=4.0))
    assert made is not None
    assert (made.recovery, made.highest_rate) == (None, None)


def test_steady_throws_that_jam_have_no_speed_on_tables() -> None:
    machine = launcher(drive=replace(DRIVE, governed=True, current_limit=2.0), rate=15.0)
    made = _duty(machine)
    assert made is not None
    table = next(one for one in report.tables(report.summary(machine, made)) if one.title == "Throw after throw")
    assert dict(zip([column.head for column in table.columns], table.rows[0], strict=True))["settled"] == "jam"
    assert "lost" not in [column.head for column in table.columns]
    assert made.settled is not None
    assert report.leaves(machine, made.settled) == "jams"


@pytest.mark.parametrize(("loss", "words"), [(0.012, "1.20 % slower"), (-0.012, "1.20 % faster"), (1e-6, "no loss")])
def test_settled_throws_are_slower_or_faster_than_the_first(loss: float, words: str) -> None:
    content = {"rate_1_s": 2.0, "jammed": False, "exit_speed_m_s": 9.0, "outlet_speed_m_s": 9.0, "loss_fraction": loss}
    assert report.settled_note(content) == [f"At 2.00 throws a second it settles at 9.00 m/s, {words}."]
