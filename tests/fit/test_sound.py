"""Speed from two knocks and wheel speed from a tone, on synthetic recordings at 10 dB signal to noise."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from stager.fit import sound
from stager.fit.sound import Estimate, Knock, Path, Recording
from stager.physics.air import speed_of_sound
from tests.fit.recordings import Wheel, noise, recording

FOOT = 0.3048
TEMPERATURE = Estimate(value=293.15, standard_uncertainty=3.0)
SOUND = float(speed_of_sound(293.15))


def _estimate(value: float, spread: float = 0.0) -> Estimate:
    return Estimate(value=value, standard_uncertainty=spread)


def _pair(between: float, spread: float = 0.0) -> tuple[Knock, Knock]:
    return Knock(time=1.0, standard_uncertainty=spread, level=20.0), Knock(
        time=1.0 + between, standard_uncertainty=0.0, level=20.0)  # fmt: skip


def test_speed_of_sound_matches_iso_2533() -> None:
    # ISO 2533: 340.294 m/s at 288.15 K, 320.545 m/s at 255.676 K (5000 m).
    assert speed_of_sound(288.15) == pytest.approx(340.294, rel=1e-5)
    assert speed_of_sound(255.676) == pytest.approx(320.545, rel=1e-5)


def test_speed_of_a_printed_example() -> None:
    # A lecture on acoustics prints 112 ft/s for Z = 21 ft, t = 0.207 s, A = -21 ft, c = 1125 ft/s: microphone at the
    # release. The temperature is that at which sound is as fast as printed.
    kelvin = 288.15 * (1125 * FOOT / 340.294) ** 2
    path = Path(distance=_estimate(21 * FOOT), near=_estimate(0.0), temperature=_estimate(kelvin))
    time, speed = sound.flight(_pair(0.207), path)
    assert speed.value is not None
    assert time.value == pytest.approx(0.207 - 21 / 1125, rel=1e-4)
    assert round(speed.value / FOOT) == 112


def test_uncertainty_of_a_printed_example() -> None:
    # The same lecture: an error of 1 ms in 0.207 s is about 0.5 %.
    path = Path(distance=_estimate(21 * FOOT), near=_estimate(0.0), temperature=TEMPERATURE)
    _, speed = sound.flight(_pair(0.207, 1e-3), path)
    assert speed.value is not None
    assert 0.004 < speed.standard_uncertainty / speed.value < 0.006


def test_base_frequency_of_printed_harmonics() -> None:
    # A lecture's table of a wheel's tone: eight harmonics, the eighth missing, 25.77 Hz.
    lines = np.array([25.79, 51.54, 77.53, 103.37, 128.87, 154.61, 180.36, 231.89])
    numbers = np.array([1.0, 2, 3, 4, 5, 6, 7, 9])
    rng = np.random.default_rng(0)
    time = np.arange(4 * 8000) / 8000
    tones = sum(np.cos(2 * np.pi * one * time + k) for k, one in enumerate(lines))
    found = sound.tone(Recording(samples=tones + noise(time.size, 0.0, rng) * np.std(tones) / np.sqrt(10), rate=8000.0),
                       15.0, 70.0)  # fmt: skip
    assert found.turns.value == pytest.approx(25.77, rel=5e-3)
    assert set(numbers.astype(int)) == set(found.harmonics)


def _throw(rng: np.random.Generator) -> tuple[Recording, Path, float]:
    """Draw a throw; return its recording at 10 dB, the geometry and the speed."""
    speed, way = float(rng.uniform(5, 45)), float(rng.uniform(3, 8))
    beside, release = float(rng.uniform(0, way)), float(rng.uniform(0.8, 1.3))
    hit = release + way / speed
    made = recording(
        rng, seconds=hit + 1.0, knocks=(release + beside / SOUND, hit + (way - beside) / SOUND),
        slope=float(rng.choice([0.0, 0.5])), pitch=[None, 400.0, 1500.0][rng.integers(3)],
        ring=float(rng.uniform(2e-3, 6e-3)),
    )  # fmt: skip
    return made, Path(distance=_estimate(way, 1e-3), near=_estimate(beside), temperature=TEMPERATURE), speed


def test_speed_is_within_1_percent() -> None:
    rng = np.random.default_rng(16)
    off, count = [], 0
    for _ in range(16):
        made, path, speed = _throw(rng)
        found = sound.listen(made, path, []).speed
        if found.value is not None:
            count += 1
            off.append((abs(found.value / speed - 1), abs(found.value - speed) / found.standard_uncertainty))
    errors, pulls = np.array(off).T
    assert count >= 15
    assert errors.max() < 0.01
    # Standard uncertainties are neither too small nor too large.
    assert np.mean(pulls < 2) >= 0.9
    assert np.median(pulls) > 0.05


def _heard(rng: np.random.Generator, droop: float) -> tuple[Wheel, sound.Tone]:
    """Draw a wheel and two knocks at 10 dB; return it and the tone found in a drawn range."""
    turns, count = float(np.exp(rng.uniform(np.log(25), np.log(400)))), int(rng.integers(1, 8))
    amplitudes = rng.uniform(0.05, 1, count)
    amplitudes[0] = max(amplitudes[0], 0.15)
    wheel = Wheel(turns=turns, amplitudes=tuple(amplitudes), droop=droop, constant=float(rng.uniform(0.08, 0.5)),
                  marks=int(rng.choice([1, 1, 2, 5])))  # fmt: skip
    release = float(rng.uniform(0.8, 1.4))
    made = recording(rng, seconds=release + 2.5, knocks=(release, release + 0.3), wheels=(wheel,), release=release,
                     slope=float(rng.choice([0.0, 0.5])))  # fmt: skip
    low, high = turns * rng.uniform(0.4, 0.9), turns * rng.uniform(1.1, 2.6)
    return wheel, sound.tone(made, low, high, wheel.marks, release)


def test_wheel_speed_is_within_0_5_percent() -> None:
    rng = np.random.default_rng(17)
    off, pulls = [], []
    for _ in range(10):
        wheel, found = _heard(rng, float(rng.choice([0.0, 0.04])))
        if found.turns.value is not None:
            off.append(abs(found.turns.value / wheel.turns - 1))
            pulls.append(abs(found.turns.value - wheel.turns) / found.turns.standard_uncertainty)
    assert len(off) >= 9
    assert max(off) < 0.005
    assert np.mean(np.array(pulls) < 2) >= 0.9


def test_droop_and_recovery_time_are_found() -> None:
    rng = np.random.default_rng(18)
    droops, recoveries = [], []
    for _ in range(10):
        share = float(rng.uniform(0.03, 0.12))
        wheel, found = _heard(rng, share)
        if found.droop.value is not None:
            droops.append((found.droop.value - share) / found.droop.standard_uncertainty)
            assert found.droop.value == pytest.approx(share, abs=0.012)
        if found.recovery.value is not None:
            # An exponential regains nine tenths in ln 10 time constants.
            assert found.recovery.value == pytest.approx(wheel.constant * np.log(10), rel=0.25)
            recoveries.append(found.recovery)
    assert len(droops) >= 8
    assert len(recoveries) >= 6
    assert np.mean(np.abs(droops) < 2) >= 0.85


def test_no_droop_of_a_steady_wheel() -> None:
    rng = np.random.default_rng(19)
    found = [_heard(rng, 0.0)[1].droop for _ in range(6)]
    assert [one.value for one in found] == [None] * 6
    assert all("no dip stands out" in one.reason for one in found)


def test_droop_without_knocks_is_found() -> None:
    rng = np.random.default_rng(20)
    wheel = Wheel(turns=90.0, amplitudes=(1.0, 0.5, 0.3, 0.2), droop=0.08, constant=0.25)
    found = sound.tone(recording(rng, seconds=4.0, wheels=(wheel,), release=1.6), 60.0, 130.0)
    assert found.droop.value == pytest.approx(0.08, abs=0.01)


@pytest.mark.parametrize("slope", [0.0, 0.5])
def test_noise_gives_no_answers_but_reasons(slope: float) -> None:
    rng = np.random.default_rng(21)
    path = Path(distance=_estimate(5.0), near=_estimate(0.0), temperature=TEMPERATURE)
    for _ in range(6):
        heard = sound.listen(recording(rng, slope=slope), path, [(20.0, 200.0)])
        (tone,) = heard.tones
        answers = (heard.speed, heard.flight_time, tone.turns, tone.droop, tone.recovery)
        assert [one.value for one in answers] == [None] * 5
        assert all(one.reason for one in answers)
        assert heard.knocks == ()


def test_slowing_wheel_gives_no_knock() -> None:
    rng = np.random.default_rng(22)
    for _ in range(4):
        wheel = Wheel(turns=float(rng.uniform(30, 300)), amplitudes=tuple(rng.uniform(0.1, 1, 6)), droop=0.08)
        made = recording(rng, wheels=(wheel,), release=1.2, slope=float(rng.choice([0.0, 0.5])))
        assert isinstance(sound.choose(sound.knocks(made)), str)


def _assert_no_speed(reason: str, times: Sequence[float] = (), **places: Estimate | None) -> None:
    rng = np.random.default_rng(23)
    made = recording(rng, knocks=(1.0, 1.3), seconds=2.0)
    path = Path(**{"distance": _estimate(5.0), "near": _estimate(0.0), "temperature": TEMPERATURE, **places})  # type: ignore[arg-type]
    found = sound.listen(made, path, [], near=times).speed
    assert found.value is None
    assert reason in found.reason


def test_missing_geometry_gives_a_reason() -> None:
    _assert_no_speed("distance", distance=None, far=_estimate(5.0))
    # 5 m in 0.3 s: 17.5 m/s where the microphone is at the launcher, 15.9 m/s where it is at the target.
    _assert_no_speed("17.5 m/s", near=None)
    _assert_no_speed("15.9", near=None)
    _assert_no_speed("longer than", distance=_estimate(110.0))
    _assert_no_speed("standard uncertainty", distance=_estimate(5.0, 2.0))
    _assert_no_speed("near the knock", times=(1.28, 1.31))


def test_three_equal_knocks_need_the_user_to_choose() -> None:
    rng = np.random.default_rng(24)
    made = recording(rng, knocks=(1.0, 1.2, 1.45), seconds=2.2)
    found = sound.knocks(made)
    assert [round(one.time, 2) for one in found] == [1.0, 1.2, 1.45]
    reason = sound.choose(found)
    assert isinstance(reason, str)
    assert "3 knocks" in reason
    pair = sound.choose(found, (1.46, 1.02))
    assert not isinstance(pair, str)
    assert [round(one.time, 2) for one in pair] == [1.0, 1.45]


def test_two_tones_in_one_range_are_ambiguous() -> None:
    rng = np.random.default_rng(25)
    wheels = tuple(Wheel(turns=turns, amplitudes=(1.0, 0.6, 0.4)) for turns in (70.0, 97.0))
    made = recording(rng, wheels=wheels)
    both = sound.tone(made, 50.0, 120.0)
    assert both.turns.value is None
    assert "two tones" in both.turns.reason
    alone = [sound.tone(made, low, high).turns.value for low, high in ((60.0, 80.0), (85.0, 110.0))]
    assert alone == pytest.approx([70.0, 97.0], rel=1e-3)


def test_harmonics_are_not_taken_for_the_wheel_speed() -> None:
    rng = np.random.default_rng(26)
    for _ in range(8):
        turns = float(rng.uniform(40, 120))
        wheel = Wheel(turns=turns, amplitudes=(1.0, *rng.uniform(0.2, 1.0, 4)))
        found = sound.tone(recording(rng, wheels=(wheel,)), turns / 3.3, turns * 3.3)
        assert found.turns.value == pytest.approx(turns, rel=5e-3)


def test_range_without_the_wheel_finds_no_harmonic() -> None:
    rng = np.random.default_rng(29)
    for _ in range(6):
        turns = float(rng.uniform(40, 120))
        wheel = Wheel(turns=turns, amplitudes=(1.0, *rng.uniform(0.2, 1.0, 4)))
        made = recording(rng, wheels=(wheel,), seconds=1.5)
        for low, high in ((1.3, 2.5), (2.3, 3.6), (0.4, 0.8)):
            found = sound.tone(made, low * turns, high * turns).turns
            assert found.value is None
            assert "outside the range" in found.reason or "no tone" in found.reason


def test_silent_or_short_recording_gives_a_reason() -> None:
    silent = Recording(samples=np.zeros(20_000), rate=8000.0)
    assert sound.knocks(silent) == ()
    assert "silent" in sound.tone(silent, 20.0, 50.0).turns.reason
    rng = np.random.default_rng(27)
    short = Recording(samples=rng.standard_normal(1000), rate=8000.0)
    assert "too short" in sound.tone(short, 5.0, 50.0).turns.reason
    assert "samples a second" in sound.tone(short, 20.0, 5000.0).turns.reason


@pytest.mark.parametrize("start", [0.0, 2.5])
@pytest.mark.parametrize("least", [0.1, 1.0, 3.5])
@pytest.mark.parametrize("release", [None, 0.05, 0.6, 2.0, 4.0])
def test_wheel_is_listened_to_for_up_to_3_s_before_the_throw(start: float, least: float, release: float | None) -> None:
    whole = Recording(samples=np.arange(5000.0), rate=1000.0, start=start)
    part = sound._part(whole, None if release is None else start + release, least)
    # 5 ms before the knock are its own.
    before = 0.0 if release is None else min(release - 0.005, 3.0)
    if before < least:
        assert part is whole
        return
    assert part.duration == pytest.approx(before, abs=0.002)
    assert part.rate == whole.rate
    assert part.samples[0] == pytest.approx((part.start - start) * whole.rate)
    assert part.samples[-1] < (release or 0.0) * whole.rate - 5


def test_whitened_noise_is_white() -> None:
    rng = np.random.default_rng(28)
    white = sound.whiten(noise(80_000, 0.5, rng), 16_000.0)
    halves = np.abs(np.fft.rfft(white)) ** 2
    low, high = halves[400:10_000].mean(), halves[20_000:40_000].mean()
    assert low == pytest.approx(high, rel=0.1)
    assert np.std(white) == pytest.approx(1.0, rel=0.05)


@pytest.mark.parametrize("loud", [100.0, 150.0])
def test_of_tones_that_stand_out_alike_the_louder_one_is_found_at_its_peak(loud: float) -> None:
    # Power in bins of 1 Hz; both tones are far above the cap of what a line may add.
    bins = np.arange(1000.0)
    gain = sum((5000.0 if pitch == loud else 1000.0) * np.exp(-((bins - pitch) ** 2) / 8) for pitch in (100.0, 150.0))
    found, count = sound._scores(np.asarray(gain), 1.0, 90.0, 160.0, 1.0, 900.0)
    best = int(np.argmax(found.value))
    assert found.pitch[best] == pytest.approx(loud, abs=0.02)
    assert count[best] == 1


def test_harmonics_beyond_the_highest_frequency_are_not_counted() -> None:
    # What lies beyond 400 Hz is loud; it belongs to no tone that is looked for.
    bins = np.arange(1000.0)
    gain = 1000.0 * np.exp(-((bins - 100.0) ** 2) / 8) + np.where(bins > 420, 5000.0, 0.0)
    found, count = sound._scores(gain, 1.0, 90.0, 160.0, 1.0, 400.0)
    best = int(np.argmax(found.value))
    assert found.pitch[best] == pytest.approx(100.0, abs=0.02)
    assert count[best] == 1
    assert max(count) <= 4


def test_no_more_harmonics_are_counted_than_a_tone_may_have() -> None:
    bins = np.arange(1200.0)
    gain = np.where(bins % 30 < 2, 1000.0, 0.0)
    found, count = sound._scores(gain, 1.0, 29.0, 31.5, 1.0, 1150.0)
    assert count[int(np.argmax(found.value))] == max(count) == sound.TOLERANCES.harmonics


def test_louder_noise_is_no_knock_once_it_lasts() -> None:
    rng = np.random.default_rng(29)
    rate, block, blocks = 2000.0, 10, 200
    loud = np.arange(12 * 2000) >= 11 * 2000
    view = rng.standard_normal(loud.size) * np.where(loud, 30.0, 1.0)
    clear = sound._clearance(view, rate, block)
    assert clear[: 10 * blocks].max() < 0
    assert clear[round(11.5 * blocks) :].max() < 0
