"""A batch of throws gives the results of single throws, for any batch shape and number of threads."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from stager.model.projectile import ROD
from stager.model.stage import IDLER, PAIR, RAIL
from stager.physics.barrel import free_runs, overlapping, pitch
from stager.physics.chain import onward, throw, transit
from stager.physics.contact import run
from stager.physics.contact.run import pack, part
from stager.physics.friction import Falling
from stager.physics.records import Throw, take
from tests.drive.machines import launcher as driven
from tests.physics.drawing import ROUND, SAMPLES, Batch, batches
from tests.physics.machines import launcher

CASES = {"round": (ROUND, (PAIR, RAIL, IDLER)), "rods": ((ROD,), (PAIR, RAIL, IDLER))}


def assert_identical(one: Throw, two: Throw) -> None:
    """Check that two results are equal bit for bit."""
    assert np.array_equal(one.exit_speed, two.exit_speed)
    assert np.array_equal(one.spin, two.spin)
    for field in fields(one.stages):
        values, others = getattr(one.stages, field.name), getattr(two.stages, field.name)
        assert np.array_equal(values, others, equal_nan=True), field.name


@pytest.mark.parametrize("case", CASES)
@settings(max_examples=4, phases=[Phase.generate])
@given(data=st.data())
def test_batch_equals_single_throws(case: str, data: st.DataObject) -> None:
    batch = data.draw(batches(*CASES[case]))
    together = throw(batch.launcher, batch.speeds("a"), batch.speeds("b"), entry_spin=batch.spin)
    for i in range(SAMPLES):
        one = Batch(batch.form, {key: value[i : i + 1] for key, value in batch.values.items()})
        speeds = one.speeds("a"), one.speeds("b")
        alone = throw(one.launcher, *speeds, entry_spin=batch.spin[i : i + 1])
        sample = replace(
            together, exit_speed=together.exit_speed[i : i + 1], spin=together.spin[i : i + 1],
            stages=replace(
                together.stages, **{f.name: getattr(together.stages, f.name)[i : i + 1] for f in fields(alone.stages)}
            ),
        )  # fmt: skip
        assert_identical(alone, sample)


def test_batch_equals_single_throws_if_rods_jam_on_rails() -> None:
    # A jammed sample must not change while the others are still being integrated.
    rod = launcher(layout=RAIL, shape=ROD, inertia=4e-5, crush=2e-3, law=Falling(0.7, 0.2, 9.0))
    rod = replace(rod, projectile=replace(rod.projectile, length=0.05))
    speeds = np.random.default_rng(1).uniform(8.0, 25.0, (30, 1))
    together = throw(rod, speeds)
    assert not np.all(together.stages.exit_speed > 0)
    for i in range(5):
        pair = [throw(rod, speeds[i : i + 1]).stages, together.stages]
        for field in fields(together.stages):
            alone, others = (getattr(stages, field.name) for stages in pair)
            assert np.array_equal(alone[0], others[i], equal_nan=True), field.name


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_result_does_not_depend_on_the_number_of_threads(workers: int, monkeypatch: pytest.MonkeyPatch) -> None:
    machine = launcher(inertia=4e-5, crush=2e-3, law=Falling(0.7, 0.2, 9.0))
    speeds = np.random.default_rng(1).uniform(4.0, 25.0, (200, 2))
    usual = throw(machine, speeds)
    monkeypatch.setattr(run, "threads", lambda: workers)
    assert_identical(throw(machine, speeds), usual)


def test_leading_axes_of_speeds_are_batch_axes() -> None:
    machine = launcher(inertia=4e-5, crush=2e-3, law=Falling(0.7, 0.2, 9.0))
    speeds = np.random.default_rng(2).uniform(4.0, 25.0, (3, 4, 2))
    shaped = throw(machine, speeds)
    assert shaped.exit_speed.shape == (3, 4)
    assert shaped.stages.exit_speed.shape == (3, 4, 2)
    assert shaped.exit_speed.ravel() == pytest.approx(throw(machine, speeds.reshape(12, 2)).exit_speed, rel=1e-12)


def test_hardware_arrays_broadcast_against_speeds() -> None:
    machine = launcher(inertia=4e-5, crush=2e-3, law=Falling(0.7, 0.2, 9.0))
    masses = np.array([0.01, 0.02, 0.04])
    many = replace(machine, projectile=replace(machine.projectile, mass=masses))
    done = throw(many, np.array([12.0]))
    each = [throw(replace(machine, projectile=replace(machine.projectile, mass=m)), np.array([12.0])) for m in masses]
    assert done.exit_speed == pytest.approx(np.array([float(one.exit_speed) for one in each]), rel=1e-12)


@pytest.mark.parametrize("which", ["wheel_speed_b", "held_speed", "held_speed_b"])
def test_settings_of_all_wheels_broadcast(which: str) -> None:
    machine, speed, many = driven(layout=PAIR), np.array([12.0, 14.0]), np.array([[9.0, 11.0], [10.0, 14.0]])
    done = throw(machine, speed, **{"wheel_speed_b": speed, which: many})
    each = [throw(machine, speed, **{"wheel_speed_b": speed, which: one}) for one in many]
    assert done.exit_speed.tolist() == [float(one.exit_speed) for one in each]


def test_chain_equals_successive_transits() -> None:
    machine = launcher(layout=RAIL, inertia=4e-5, crush=2e-3, law=Falling(0.7, 0.2, 9.0))
    chain = throw(machine, np.array([8.0, 14.0]))
    first = transit(machine, 0, 2.0, 8.0)
    second = transit(machine, 1, first.exit_speed, 14.0, entry_spin=first.exit_spin)
    assert float(chain.exit_speed) == pytest.approx(float(second.exit_speed), rel=1e-12)
    assert float(chain.spin) == pytest.approx(float(second.exit_spin), rel=1e-12)


def test_no_stages_leave_the_feed_speed_unchanged() -> None:
    assert float(throw(launcher(), np.zeros(0)).exit_speed) == 2.0


@settings(max_examples=12, phases=[Phase.generate])
@given(data=st.data())
def test_one_stage_more_gives_the_whole_throw(data: st.DataObject) -> None:
    batch = data.draw(batches(*CASES["round"]))
    a, b, machine = batch.speeds("a"), batch.speeds("b"), replace(batch.launcher, guide=None)
    assume(a.shape[-1] > 1 and not overlapping(machine, a.shape[-1], np.full(1, max(a.max(), b.max()))))
    whole = throw(machine, a, b, entry_spin=batch.spin)
    earlier = throw(machine, a[..., :-1], b[..., :-1], entry_spin=batch.spin)
    done = onward(machine, earlier, a[..., -1], b[..., -1])
    assert np.array_equal(done.jammed, whole.jammed)
    assert done.exit_speed == pytest.approx(whole.exit_speed, rel=1e-8)
    assert done.spin == pytest.approx(whole.spin, rel=1e-7, abs=1e-7)
    for field in fields(whole.stages):
        values, others = getattr(done.stages, field.name), getattr(whole.stages, field.name)
        assert values == pytest.approx(others, rel=1e-5, abs=1e-8), field.name


@settings(max_examples=4, phases=[Phase.generate])
@given(batch=batches(*CASES["rods"]))
def test_free_runs_between_stages_in_reverse_order_are_those_between_stages(batch: Batch) -> None:
    machine, count, speed = batch.launcher, len(batch.form.layouts), np.full(1, 12.0)
    pitches = [pitch(machine, k) for k in range(count - 1)]
    ways = zip(machine.stages[::-1], [*pitches[::-1], None], strict=True)
    turned = replace(machine, stages=tuple(replace(stage, pitch=way) for stage, way in ways))
    for way, other in zip(free_runs(machine, count, speed), free_runs(turned, count, speed)[::-1], strict=True):
        assert way == pytest.approx(other)


@settings(max_examples=12, phases=[Phase.generate])
@given(data=st.data())
def test_arrays_of_some_stages_are_part_of_those_of_all(data: st.DataObject) -> None:
    batch = data.draw(batches(*CASES["rods"]))
    count = batch.speeds("a").shape[-1]
    whole = pack(batch.launcher, 0, count)
    first = data.draw(st.integers(0, count - 1))
    some = data.draw(st.integers(1, count - first))
    for found, expected in zip(part(whole, first, some), pack(batch.launcher, first, some), strict=True):
        assert np.all(np.asarray(found) == np.asarray(expected))


def test_samples_are_taken_from_every_array_and_other_parts_stay_the_same_objects() -> None:
    plain = driven().template
    crushed = replace(plain, crush=np.array([1e-3, 2e-3, 3e-3]))
    many = replace(driven(), stages=(plain, crushed), feed=replace(driven().feed, speed=np.array([1.0, 1.2, 1.4])))
    one = take(many, [1])
    assert one.feed.speed.tolist() == [1.2]
    assert one.stages[1].crush.tolist() == [2e-3]
    assert one.stages[0] is plain
    assert one.template is many.template
    bare = replace(driven(), stages=(plain, plain))
    assert take(bare, [0]) is bare
