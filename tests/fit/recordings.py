"""Synthetic recordings of throws: knocks, wheel tones and noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.sound import Recording
from stager.model.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """A wheel: speed before the throw [rev/s], amplitudes of harmonics 1, 2, …, droop [-], time constant [s]."""

    turns: float
    amplitudes: tuple[float, ...]
    droop: float = 0.0
    constant: float = 0.2
    marks: int = 1


def tone(wheel: Wheel, time: Floats, release: float, rng: np.random.Generator) -> Floats:
    """Return samples of a wheel's tone at `time` [s]; the wheel slows at `release` [s]."""
    passed = np.maximum(time - release, 0.0)
    turns = wheel.turns * wheel.marks * np.where(
        time < release, 1.0, 1 - wheel.droop * np.exp(-passed / wheel.constant))  # fmt: skip
    phase = 2 * np.pi * np.cumsum(turns) * (time[1] - time[0])
    parts = [a * np.cos(h * phase + rng.uniform(0, 2 * np.pi)) for h, a in enumerate(wheel.amplitudes, 1)]
    return np.asarray(np.sum(parts, axis=0))


def knock(time: Floats, at: float, rng: np.random.Generator, ring: float = 4e-3, pitch: float | None = None) -> Floats:
    """Return a decaying knock of unit power over its first `ring` seconds: noise, or a sine of `pitch` [Hz]."""
    passed = time - at
    fade = np.where(passed >= 0, np.exp(-np.maximum(passed, 0.0) / ring), 0.0)
    body = rng.standard_normal(time.size) if pitch is None else np.sqrt(2) * np.cos(2 * np.pi * pitch * passed)
    sound = fade * body
    first = (passed >= 0) & (passed < ring)
    return np.asarray(sound / np.sqrt(np.mean(sound[first] ** 2)))


def noise(size: int, slope: float, rng: np.random.Generator) -> Floats:
    """Return noise of unit power whose amplitude falls with frequency to the power `slope` (0 white, 0.5 pink)."""
    spectrum = np.fft.rfft(rng.standard_normal(size))
    number = np.maximum(np.arange(spectrum.size), 1 + size // 2000)
    shaped = np.fft.irfft(spectrum / number**slope, size)
    return np.asarray(shaped / np.std(shaped))


def recording(
    rng: np.random.Generator, *, seconds: float = 2.5, rate: float = 44_100.0, knocks: tuple[float, ...] = (),
    wheels: tuple[Wheel, ...] = (), release: float = np.inf, ratio: float = 10.0, slope: float = 0.0,
    pitch: float | None = None, ring: float = 4e-3,
) -> Recording:  # fmt: skip
    """Return a recording; `ratio` is the power of each knock and each tone over that of the noise [dB]."""
    time = np.arange(int(seconds * rate)) / rate
    loud = 10 ** (ratio / 20)
    samples = noise(time.size, slope, rng)
    for at in knocks:
        samples = samples + loud * knock(time, at, rng, ring, pitch)
    for wheel in wheels:
        sound = tone(wheel, time, release, rng)
        samples = samples + loud * sound / np.std(sound)
    return Recording(samples=0.05 * samples, rate=rate)
