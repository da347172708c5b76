"""Analyse a sound recording of a throw.

Exit speed follows from two knocks, at release and target; wheel speed from the pitch of the wheel's tone; droop and
recovery from the dip of that pitch. Every result is an `Estimate`: a value with its standard uncertainty, or the reason
why there is none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.physics.air import speed_of_sound


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """Constants of the analysis; those without a source were set on synthetic recordings."""

    # Knocks.
    envelope: float = 2e-3
    """Averaging time of the power, shorter than any knock [s]."""
    apart: float = 10e-3
    """Least time between knocks: shorter ones are a knock and its ringing [s]."""
    around: float = 0.5
    """Time over which a knock must exceed the usual level, which a wheel's beats do not [s]."""
    bands: tuple[tuple[float, float], ...] = ((0.0, 1200.0), (1000.0, 5000.0))
    """Bands that are searched besides the whole spectrum, for dull knocks [Hz]."""
    loudness: float = 5.0
    """Least height of a knock above the noise [dB]."""
    spreads: float = 5.5
    """Least height above the median, by the noise level's spread (median to 84 %): one false knock in hours [-]."""
    drop: float = 5.0
    """Least fall of the level between two knocks [dB]."""
    clear: float = 6.0
    """Least level of the two loudest knocks above the third to be taken as those of the throw [dB]."""
    before_peak: float = 20e-3
    """Time before the loudest moment in which the onset is searched [s]."""
    onset: float = 1e-4
    """Standard uncertainty of an onset from the knock's rise time, besides noise [s]."""

    # Tone.
    frame: float = 0.4
    """Length of a spectrum's frame [s]."""
    periods: float = 6.0
    """Least periods of the tone in a frame, so that its harmonics are resolved [-]."""
    harmonics: int = 16
    """Most harmonics of a tone [-]."""
    line_cap: float = 40.0
    """Greatest contribution of a harmonic to a score, as twice a log-likelihood: their number counts too [-]."""
    line_missing: float = 30.0
    """Greatest penalty of a missing harmonic, likewise: at half the pitch every other one is missing [-]."""
    rival: float = 0.75
    """Score of another tone, by the best score, above which the result is ambiguous [-]."""
    clock: float = 1e-4
    """Relative error of a sound card's clock (common practice, no source) [-]."""

    # Dip.
    swing: float = 0.35
    """Greatest droop that is searched [-]."""
    sure: float = 4.0
    """Least depth of a dip by its standard uncertainty [-]."""
    method: float = 0.03
    """Relative standard uncertainty of a droop from the change of speed within a frame [-]."""
    worst: float = 0.25
    """Greatest relative standard uncertainty of a result [-]."""
    constants: tuple[float, ...] = (0.02, 0.04, 0.08, 0.15, 0.3, 0.6, 1.2, 2.5)
    """Starting values of a dip's time constant [s]."""


TOLERANCES = Tolerances()
RESOLVED = 4.0
"""Periods of a tone in a frame that resolve its harmonics [-]: a Hann window's line is four bins wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """Sound of one microphone: samples, shape (n,); rate [Hz]; start: time of the first sample in its file [s]."""

    samples: Floats
    rate: float
    start: float = 0.0

    @property
    def duration(self) -> float:
        """Return the duration [s]."""
        return self.samples.size / self.rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with its standard uncertainty, both in SI; where there is no value it is None, and `reason` says why."""

    value: float | None = None
    standard_uncertainty: float = 0.0
    reason: str = ""

    @property
    def known(self) -> bool:
        """Whether there is a value."""
        return self.value is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Knock:
    """A sudden sound: time of its onset in the file [s] with its standard uncertainty; level above the noise [dB]."""

    time: float
    standard_uncertainty: float
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Positions of microphone and target, with standard uncertainties; None: unknown.

    distance: from the place of the first knock to the target [m]
    near: from the microphone to the place of the first knock [m]
    far: from the microphone to the target [m]; None: it stands on the line between them
    temperature: of the air [K]
    """

    distance: Estimate | None = None
    near: Estimate | None = None
    far: Estimate | None = None
    temperature: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Speed of a wheel over time.

    time [s], turns per second [1/s] and its standard uncertainty, each (frames,)
    window: weights within a frame, in steps of `step` [s]
    """

    time: Floats
    turns: Floats
    standard_uncertainty: Floats
    window: Floats
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """Results for one wheel.

    turns: turns per second before the throw [1/s]
    droop: share of that speed lost in the throw [-]
    recovery: time until nine tenths of the loss are regained [s]
    harmonics: numbers of those that were found; low, high: the range searched [1/s]
    """

    turns: Estimate
    droop: Estimate
    recovery: Estimate
    harmonics: tuple[int, ...]
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """Results of a recording.

    knocks: all knocks, in the order of time
    taken: the two of the throw; None: unknown
    flight_time: [s]
    speed: mean over the flight [m/s]
    tones: one for each wheel
    """

    knocks: tuple[Knock, ...]
    taken: tuple[Knock, Knock] | None
    flight_time: Estimate
    speed: Estimate
    tones: tuple[Tone, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Listened:
    """Results of a file.

    heard: results of the recording
    path: positions as given
    file, sha256: name of the file and hash of its bytes
    seconds: duration that was analysed [s]
    marks: sounds in a turn
    """

    heard: Heard
    path: Path
    file: str
    sha256: str
    seconds: float
    marks: int


def listen(
    recording: Recording,
    path: Path,
    ranges: Sequence[tuple[float, float]],
    *,
    marks: int = 1,
    near: Sequence[float] = (),
) -> Heard:
    """Return knocks, flight time, speed and tones of a recording.

    Parameters
    ----------
    recording : Recording
    path : Path
        Positions and temperature of the air.
    ranges : sequence of (low, high)
        Range of turns per second of each wheel [1/s].
    marks : int
        Blades, spokes or marks of a wheel that sound once a turn each.
    near : sequence of float
        Approximate times of the two knocks, where there are more [s].
    """
    found = knocks(recording)
    taken = choose(found, near)
    pair = taken if isinstance(taken, tuple) else None
    time, speed = (Estimate(reason=str(taken)),) * 2 if pair is None else flight(pair, path)
    release = pair[0].time if pair else None
    tones = tuple(tone(recording, low, high, marks, release) for low, high in ranges)
    return Heard(knocks=found, taken=pair, flight_time=time, speed=speed, tones=tones)


def whiten(samples: Floats, rate: float) -> Floats:
    """Return samples (n,) after a causal filter that makes steady noise and hum white and of unit variance; rate [Hz].

    The spectrum is the median over windows, which short knocks hardly affect. The filter has minimum phase, so that it
    does not ring before a knock (Oppenheim & Schafer, Discrete-Time Signal Processing, homomorphic filtering).
    """
    from scipy import signal

    length = _window(samples, rate)
    _, power = signal.welch(samples, rate, nperseg=length, average="median", detrend="constant")
    power[0] = power[1]
    power = np.maximum(power, 1e-10 * power.max())
    cepstrum = np.fft.irfft(-np.log(power) / 2)
    fold = np.zeros(length)
    fold[0], fold[length // 2] = 1.0, 1.0
    fold[1 : length // 2] = 2.0
    response = np.fft.irfft(np.exp(np.fft.rfft(cepstrum * fold)))
    white = signal.oaconvolve(samples - samples.mean(), response)[: samples.size]
    scale = np.median(np.abs(white)) / 0.6745
    return np.asarray(white / scale) if scale > 0 else np.asarray(white)


def knocks(recording: Recording) -> tuple[Knock, ...]:
    """Return the knocks of a recording in the order of time.

    A knock is a peak in the power of the whitened sound above the noise; its onset is where Akaike's criterion splits
    the samples before the peak into quiet and loud.

    References
    ----------
    Maeda, N. (1985), A method for reading and checking phase times in auto-processing system of seismic wave data,
    Zisin 38 (criterion on two variances).
    """
    from scipy import signal

    rate, samples = recording.rate, recording.samples
    block = max(1, round(TOLERANCES.envelope / 8 * rate))
    if samples.size < 512 * block or not np.ptp(samples):
        return ()
    white = whiten(samples, rate)
    views = [white, *(_band(white, rate, low, high) for low, high in TOLERANCES.bands if 2.2 * high < rate)]
    blur = [0.0, *(0.3 / (high - low) for low, high in TOLERANCES.bands)]
    clear = np.stack([_clearance(view, rate, block) for view in views])
    level = clear.max(axis=0)
    gap = max(1, round(TOLERANCES.apart * rate / block))
    # The filter has not settled at the beginning.
    level[: _window(samples, rate) // block + 1] = level.min()
    peaks, _ = signal.find_peaks(level, height=0.0, prominence=TOLERANCES.drop, distance=gap)
    found, after = [], 0
    for peak in peaks.tolist():
        top, best = (peak + 1) * block, int(np.argmax(clear[:, peak]))
        begin = max(after, top - round(TOLERANCES.before_peak * rate))
        onset = _onset(views[best][begin:top], rate)
        if onset is not None:
            time = recording.start + begin / rate + onset[0]
            spread = float(np.sqrt(onset[1] ** 2 + TOLERANCES.onset**2 + blur[best] ** 2))
            found.append(Knock(time=time, standard_uncertainty=spread, level=float(level[peak]) + TOLERANCES.loudness))
        after = top
    return tuple(found)


def _band(white: Floats, rate: float, low: float, high: float) -> Floats:
    """Return samples band-passed from `low` to `high` [Hz] without delay, of unit variance for white noise."""
    from scipy import signal

    kind, edges = ("low", high) if low <= 0 else ("band", (low, high))
    narrow = signal.sosfiltfilt(signal.butter(2, edges, kind, fs=rate, output="sos"), white)
    return np.asarray(narrow / (np.median(np.abs(narrow)) / 0.6745))


def _clearance(view: Floats, rate: float, block: int) -> Floats:
    """Return the level above the threshold of a knock [dB], one value a block."""
    from scipy import signal

    cut = view[: view.size // block * block].reshape(-1, block)
    smooth = signal.oaconvolve(np.mean(cut**2, axis=1), np.full(8, 1 / 8), mode="same")
    level = 10 * np.log10(np.maximum(smooth, 1e-6))
    middle, high = np.quantile(level, [0.5, 0.84])
    threshold = middle + max(TOLERANCES.loudness, TOLERANCES.spreads * float(high - middle))
    usual = _usual(level, round(TOLERANCES.around * rate / block)) + TOLERANCES.loudness
    return np.asarray(level - np.maximum(threshold, usual))


def _window(samples: Floats, rate: float) -> int:
    """Return the length of the whitening filter in samples: 0.2 s, less for short recordings."""
    return int(2 ** int(np.log2(max(64, min(0.2 * rate, samples.size / 8)))))


def _usual(level: Floats, width: int) -> Floats:
    """Return the 95 % quantile of the level within about `width` samples, which a wheel's beats reach."""
    block = max(1, width // 10)
    starts = np.arange(0, level.size, block)
    high = [np.quantile(level[max(0, start - width // 2) : start + block + width // 2], 0.95) for start in starts]
    return np.repeat(high, block)[: level.size]


def _onset(before: Floats, rate: float) -> tuple[float, float] | None:
    """Return the time of the change of variance in samples before a peak, and its standard uncertainty [s]."""
    least = 8
    if before.size < 4 * least:
        return None
    power = np.cumsum(before**2)
    count = np.arange(least, before.size - least + 1)
    quiet, loud = power[count - 1] / count, (power[-1] - power[count - 1]) / (before.size - count)
    likelihood = -0.5 * (count * np.log(np.maximum(quiet, 1e-12)) + (before.size - count) * np.log(
        np.maximum(loud, 1e-12)))  # fmt: skip
    weight = np.where(loud > quiet, np.exp(likelihood - likelihood.max()), 0.0)
    if not weight.sum() > 0:
        return None
    weight /= weight.sum()
    place = float(weight @ count)
    spread = float(np.sqrt(weight @ (count - place) ** 2))
    return place / rate, spread / rate


def choose(found: Sequence[Knock], near: Sequence[float] = ()) -> tuple[Knock, Knock] | str:
    """Return the two knocks of a throw, or the reason why they are unknown; near: their approximate times [s]."""
    if len(found) < 2:
        return "no knock is heard above the noise" if not found else f"one knock only, at {found[0].time:.3f} s"
    if near:
        first, second = (_nearest(found, at) for at in sorted(near)[:2])
        return (first, second) if first.time < second.time else f"both times are near the knock at {first.time:.3f} s"
    loudest = sorted(found, key=lambda knock: -knock.level)
    if len(found) > 2 and loudest[1].level - loudest[2].level < TOLERANCES.clear:
        times = ", ".join(f"{knock.time:.3f}" for knock in sorted(found, key=lambda knock: knock.time)[:8])
        more = ", ..." if len(found) > 8 else ""
        return f"{len(found)} knocks are heard, at {times}{more} s, and no two of them stand out"
    first, second = sorted(loudest[:2], key=lambda knock: knock.time)
    return first, second


def _nearest(found: Sequence[Knock], at: float) -> Knock:
    return min(found, key=lambda knock: abs(knock.time - at))


def flight(pair: tuple[Knock, Knock], path: Path) -> tuple[Estimate, Estimate]:
    """Return time of flight [s] and mean speed over it [m/s] from two knocks.

    V = Z/(t + A/c): Z the distance, t the time between the knocks at the microphone, A its distance from the first less
    that from the target, c the speed of sound. Standard uncertainties are propagated to first order (JCGM 100, 5.1.2),
    by differences over one standard uncertainty to either side of each input.
    """
    if path.near is None or (path.far is None and path.distance is None):
        unknown = Estimate(reason="where the microphone stood is not known" + _ends(pair, path))
        return unknown, unknown
    between = pair[1].time - pair[0].time
    inputs = [
        Estimate(value=between, standard_uncertainty=float(
            np.hypot(pair[0].standard_uncertainty, pair[1].standard_uncertainty))),
        path.temperature, path.near, *(one for one in (path.far, path.distance) if one is not None),
    ]  # fmt: skip

    def time_of(given: Sequence[float]) -> float:
        far = given[3] if path.far is not None else abs(given[-1] - given[2])
        return given[0] + (given[2] - far) / float(speed_of_sound(given[1]))

    time = _propagated(time_of, inputs)
    if not (time.value or 0.0) > 0:
        late = Estimate(reason=f"the target's sound alone takes longer than the {between:.3f} s between the knocks")
        return late, late
    if path.distance is None:
        return time, Estimate(reason="the distance from release to target is not known")
    speed = _propagated(lambda given: given[-1] / time_of(given), inputs)
    share, sound = (
        speed.standard_uncertainty / (speed.value or 1.0),
        float(speed_of_sound(path.temperature.value or 0.0)),
    )
    if not 0 <= share <= TOLERANCES.worst:
        return time, Estimate(reason=f"its standard uncertainty would be {100 * abs(share):.0f} %")
    if (speed.value or 0.0) > sound:
        return time, Estimate(reason=f"{speed.value:.0f} m/s would be faster than sound: not the two knocks of a throw")
    return time, speed


def _propagated(function: Callable[[Sequence[float]], float], inputs: Sequence[Estimate]) -> Estimate:
    """Return the value of a function of independent inputs, with its standard uncertainty."""
    values = [one.value or 0.0 for one in inputs]
    total = 0.0
    for k, one in enumerate(inputs):
        ends = [
            function([*values[:k], values[k] + sign * one.standard_uncertainty, *values[k + 1 :]]) for sign in (1, -1)
        ]
        total += ((ends[0] - ends[1]) / 2) ** 2
    return Estimate(value=function(values), standard_uncertainty=float(np.sqrt(total)))


def _ends(pair: tuple[Knock, Knock], path: Path) -> str:
    """Return text for the speed with the microphone at either end; "" where it cannot be computed."""
    if path.distance is None or path.distance.value is None:
        return ""
    way, between = path.distance.value, pair[1].time - pair[0].time
    late = way / float(speed_of_sound(path.temperature.value or 0.0))
    if between <= late:
        return ""
    slow, fast = (way / (between + sign * late) for sign in (1, -1))
    return f" (beside the launcher it would be {fast:.3g} m/s, at the target {slow:.3g} m/s)"


def tone(
    recording: Recording, low: float, high: float, marks: int = 1, release: float | None = None,
) -> Tone:  # fmt: skip
    """Return a wheel's speed before a throw, its droop and its recovery.

    Parameters
    ----------
    recording : Recording
    low, high : float
        Range of turns per second [1/s].
    marks : int
        Sounds in a turn.
    release : float or None
        Time of the throw in the file [s]; None: that of the deepest dip.
    """
    heard = _pitch(recording, low * marks, high * marks, release)
    if isinstance(heard, str):
        unknown = Estimate(reason=heard)
        after = Estimate(reason="the wheel's tone is not heard")
        return Tone(turns=unknown, droop=after, recovery=after, harmonics=(), low=low, high=high)
    pitch, spread, lines = heard
    turns = Estimate(value=pitch / marks, standard_uncertainty=spread / marks)
    path = track(recording, pitch, lines, release)
    droop, recovery = (path, path) if isinstance(path, Estimate) else dip(path, release)
    return Tone(turns=turns, droop=droop, recovery=recovery, harmonics=lines, low=low, high=high)


def _part(recording: Recording, release: float | None, least: float) -> Recording:
    """Return up to 3 s before the throw, or the whole recording where that is shorter than `least` [s]."""
    if release is None:
        return recording
    end = int((release - recording.start - 5e-3) * recording.rate)
    begin = max(0, end - int(3.0 * recording.rate))
    if end - begin < least * recording.rate:
        return recording
    return Recording(
        samples=recording.samples[begin:end], rate=recording.rate, start=recording.start + begin / recording.rate
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spectra:
    """Spectra of frames.

    power: over the noise floor (frames, bins); bin: width of a bin [Hz]
    window: of a frame; time: of the frames' middles in the file [s]; independent: number of independent frames
    """

    power: Floats
    bin: float
    window: Floats
    time: Floats
    independent: float


def _spectra(recording: Recording, frame: float, overlap: int, highest: float) -> _Spectra:
    """Return spectra of frames of `frame` [s] up to `highest` [Hz], zero-padded fourfold, over the noise floor."""
    from scipy import ndimage, signal, special

    size = max(16, round(frame * recording.rate))
    hop = max(1, size // overlap)
    # At most some 2 000 frames, evenly spaced.
    count = 1 + (recording.samples.size - size) // hop
    starts = np.arange(count) * hop
    starts = starts[:: max(1, count // 2000)]
    window = signal.get_window("hann", size)
    length = 4 * 2 ** int(np.ceil(np.log2(size)))
    keep = min(length // 2 + 1, int(highest * length / recording.rate) + 3)
    power = np.empty((starts.size, keep))
    for row, start in enumerate(starts.tolist()):
        part = recording.samples[start : start + size]
        power[row] = np.abs(np.fft.rfft((part - part.mean()) * window, length)[:keep]) ** 2
    mean = power.mean(axis=0)
    independent = max(1.0, recording.samples.size / size)
    width = max(9, round(12 * length / size)) | 1
    share = 0.25
    floor = ndimage.percentile_filter(mean, 100 * share, size=width, mode="nearest")
    floor /= special.gammaincinv(independent, share) / independent
    floor = np.maximum(ndimage.uniform_filter1d(floor, width, mode="nearest"), 1e-12 * max(float(mean.max()), 1e-300))
    return _Spectra(
        power=power / floor, bin=recording.rate / length, window=window, independent=independent,
        time=np.asarray(recording.start + (starts + size / 2) / recording.rate, dtype=np.float64),
    )  # fmt: skip


def _pitch(
    recording: Recording, low: float, high: float, release: float | None
) -> tuple[float, float, tuple[int, ...]] | str:
    """Return the base frequency between `low` and `high` [Hz], its standard uncertainty and harmonics, or a reason."""
    if high >= recording.rate / 2:
        return f"{high:.0f} Hz needs more than the recording's {recording.rate:.0f} samples a second"
    if not np.ptp(recording.samples):
        return "the recording is silent"
    least = TOLERANCES.periods / low
    part = _part(recording, release, max(least, TOLERANCES.frame))
    if part.duration < least:
        return f"the recording is too short for a wheel as slow as {low:.3g} turns a second"
    frame = min(part.duration, max(TOLERANCES.frame, 2 * RESOLVED / low))
    top = min(recording.rate / 2.05, TOLERANCES.harmonics * high)
    spectra = _spectra(part, frame, 2, top)
    mean = spectra.power.mean(axis=0)
    gain = spectra.independent * np.where(mean > 1, mean - 1 - np.log(np.maximum(mean, 1e-12)), 0.0)
    score, count = _scores(gain, spectra.bin, low, high, frame, top)
    best = int(np.argmax(score.value))
    if not score.value[best] > 0 or not count[best]:
        return "no tone stands out of the noise in the range searched"
    rival = _rival(score, best, frame, count[best])
    if rival is not None and score.value[rival] > TOLERANCES.rival * score.value[best]:
        return (
            f"two tones stand out, {score.pitch[best]:.1f} and {score.pitch[rival]:.1f} Hz: a narrower range for each"
            " tells them apart"
        )
    parted = _fits_better(gain, spectra.bin, float(score.pitch[best]), float(score.value[best]), frame, top)
    if parted is not None and not low <= parted <= high:
        return (
            f"the tone near {score.pitch[best]:.1f} Hz belongs to one of {parted:.1f} Hz, which is outside the range"
            " searched"
        )
    lines = tuple(
        h for h in range(1, count[best] + 1) if _at(gain, h * score.pitch[best] / spectra.bin) > np.log(gain.size)
    )
    return _refined(spectra, float(score.pitch[best]), lines, frame)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scores:
    pitch: Floats
    value: Floats


def _scores(gain: Floats, step: float, low: float, high: float, frame: float, top: float) -> tuple[_Scores, list[int]]:
    """Return the score of every base frequency: harmonics found less harmonics missing, with the best number."""
    pitch = np.arange(low, high, 1 / (4 * frame * TOLERANCES.harmonics))
    cost = np.log(gain.size)
    total, best = np.zeros(pitch.size), np.zeros(pitch.size)
    count = np.zeros(pitch.size, dtype=int)
    for h in range(1, TOLERANCES.harmonics + 1):
        inside = h * pitch <= top
        here = _at(gain, np.where(inside, h * pitch, 0.0) / step)
        # Between the penalty of a missing harmonic and the cap of a loud one.
        worth = np.clip(2 * (here - cost), -TOLERANCES.line_missing, TOLERANCES.line_cap)
        total = np.where(inside, total + worth, -np.inf)
        better = total > best
        best, count = np.where(better, total, best), np.where(better, h, count)
    # Equal scores are ordered by power.
    power = sum(_at(gain, h * pitch / step) * (h <= count) for h in range(1, TOLERANCES.harmonics + 1))
    return _Scores(pitch=pitch, value=best + 1e-9 * np.asarray(power)), count.tolist()


def _rival(score: _Scores, best: int, frame: float, count: int) -> int | None:
    """Return the best candidate that is another tone: farther than a spectral line and 3 %."""
    apart = np.abs(score.pitch - score.pitch[best]) > max(8 / frame, 0.03 * score.pitch[best])
    if not apart.any():
        return None
    return int(np.argmax(np.where(apart, score.value, -np.inf)))


def _fits_better(
    gain: Floats, step: float, pitch: float, value: float, frame: float, top: float
) -> float | None:  # fmt: skip
    """Return a simple fraction or multiple of `pitch` [Hz] with a clearly higher score; None: there is none."""
    for share in (1 / 2, 1 / 3, 2 / 3, 1 / 4, 3 / 4, 3 / 2, 2.0, 3.0):
        near = share * pitch
        # Its harmonics are not resolved in a frame.
        if near * frame < RESOLVED or near >= top:
            continue
        width = max(0.02 * near, 1 / frame / TOLERANCES.harmonics)
        score, _ = _scores(gain, step, near - width, near + width, frame, top)
        best = int(np.argmax(score.value))
        if TOLERANCES.rival * score.value[best] > value:
            return float(score.pitch[best])
    return None


def _at(values: Floats, place: Floats | float) -> Floats:
    """Return values between bins, by linear interpolation along the last axis."""
    inside = np.asarray(np.clip(place, 0, values.shape[-1] - 1.001), dtype=np.float64)
    left = inside.astype(int)
    share = inside - left
    return np.asarray(values[..., left] * (1 - share) + values[..., left + 1] * share)


def _lines_power(spectra: _Spectra, pitch: Floats, lines: Sequence[int]) -> Floats:
    """Return the power of all harmonics over noise, (frames, pitches): the log-likelihood of a base frequency.

    Cubic interpolation of the logarithm between bins: linear interpolation would be biased to the bins.
    """
    level = np.log(np.maximum(spectra.power, 1e-12))
    total = np.zeros((level.shape[0], pitch.size))
    for h in lines:
        place = np.clip(h * pitch / spectra.bin, 1, level.shape[1] - 3)
        left = np.minimum(place.astype(int), level.shape[1] - 3)
        t = place - left
        weights = -t * (t - 1) * (t - 2) / 6, (t**2 - 1) * (t - 2) / 2, -t * (t + 1) * (t - 2) / 2, t * (t**2 - 1) / 6
        total += np.exp(sum(weight * level[:, left + k] for k, weight in zip((-1, 0, 1, 2), weights, strict=True)))
    return total


def _tracked(spectra: _Spectra, grid: Floats, lines: Sequence[int]) -> tuple[Floats, Floats, Floats]:
    """Return the best base frequency of each frame, its standard uncertainty [Hz] and its log-likelihood."""
    likelihood = _lines_power(spectra, grid, lines)
    best = np.clip(np.argmax(likelihood, axis=1), 1, grid.size - 2)
    rows = np.arange(best.size)
    before, here, after = (likelihood[rows, best + k] for k in (-1, 0, 1))
    bend = np.minimum(before - 2 * here + after, -1e-9)
    step = float(grid[1] - grid[0])
    shift = np.clip((before - after) / (2 * bend), -1, 1) * step
    return grid[best] + shift, step / np.sqrt(-bend), here - len(lines)


def _refined(
    spectra: _Spectra, pitch: float, lines: tuple[int, ...], frame: float
) -> tuple[float, float, tuple[int, ...]] | str:
    """Return the mean base frequency over frames, its standard uncertainty with their scatter, and the harmonics."""
    width = min(0.03 * pitch, 2.0 / frame)
    grid = np.linspace(pitch - width, pitch + width, 241)
    found, spread, _ = _tracked(spectra, grid, lines)
    middle = np.median(found)
    scatter = 1.4826 * np.median(np.abs(found - middle)) if found.size > 2 else 0.0
    good = np.abs(found - middle) <= 4 * np.hypot(scatter, spread) + 1e-9
    mean = float(np.mean(found[good]))
    own = float(np.mean(spread[good]))
    # Frames overlap by half.
    count = max(1.0, good.sum() / 2)
    total = np.hypot(max(float(np.std(found[good])), own) / np.sqrt(count), TOLERANCES.clock * mean)
    if total > TOLERANCES.worst * mean:
        return "the tone wanders too much"
    return mean, float(total), lines


def track(
    recording: Recording, pitch: float, lines: Sequence[int], release: float | None = None,
) -> Track | Estimate:  # fmt: skip
    """Return the tone's base frequency over time around a throw, or an estimate without value and the reason.

    pitch: before the throw [Hz]; lines: its harmonics; release: time of the throw [s].
    """
    low, high = pitch * (1 - TOLERANCES.swing), pitch * (1 + TOLERANCES.swing / 4)
    frame = max(TOLERANCES.periods / pitch, 0.06)
    begin, end = recording.start, recording.start + recording.duration
    if release is not None:
        begin, end = max(begin, release - 1.5), min(end, release + 5.0)
    if end - begin > 60.0:
        return Estimate(reason="the recording is long: cut it to one throw, from a second before to five after")
    cut = slice(*(int((at - recording.start) * recording.rate) for at in (begin, end)))
    part = Recording(samples=recording.samples[cut], rate=recording.rate, start=begin)
    if part.duration < 4 * frame:
        return Estimate(reason="the recording is too short to follow the tone")
    spectra = _spectra(part, frame, 8, min(recording.rate / 2.05, max(lines) * high))
    grid = np.arange(low, high, 1 / (16 * frame * max(lines)))
    found, spread, likelihood = _tracked(spectra, grid, lines)
    inside = (found > grid[2]) & (found < grid[-3])
    heard = inside & (likelihood > np.log(grid.size) + 6)
    if heard.sum() < 16:
        return Estimate(reason="the tone is too faint to be followed through the throw")
    step = 1 / recording.rate
    return Track(
        time=spectra.time[heard], turns=found[heard], standard_uncertainty=spread[heard],
        window=spectra.window**2 / np.sum(spectra.window**2), step=step,
    )  # fmt: skip


def dip(path: Track, release: float | None = None) -> tuple[Estimate, Estimate]:
    """Return droop [-] and recovery time [s] of a throw, from a fit of 1 − D·exp(−(t − t₀)/τ) to a wheel's speed.

    A frame has the mean speed under its window. D is the droop, τ·ln 10 the time to regain nine tenths of it.
    """
    from scipy import optimize

    half = path.window.size * path.step / 2
    offsets = np.linspace(-half, half, 49)
    weight = np.interp(offsets, np.linspace(-half, half, path.window.size), path.window)
    weight /= weight.sum()
    floor = max(float(np.median(path.standard_uncertainty)), 1e-5 * float(np.median(path.turns)))
    sigma = np.maximum(path.standard_uncertainty, floor)
    begins = _begins(path, release, half)
    if begins.size == 0:
        why = Estimate(reason="the tone is not heard both before and after the throw")
        return why, why

    def lost(begin: float, constant: float, thin: int = 1) -> Floats:
        passed = path.time[:, None] + offsets[::thin] - begin
        # Smoothed over a step of the window, so that the loss is differentiable by `begin`.
        entered = np.clip(passed / (thin * (offsets[1] - offsets[0])) + 0.5, 0.0, 1.0)
        share = weight[::thin] / weight[::thin].sum()
        return np.asarray((entered * np.exp(-np.maximum(passed, 0.0) / constant)) @ share)

    def clear(begin: float) -> NDArray[np.bool_]:
        # A frame across the throw has two tones.
        return np.abs(path.time - begin) > 0.6 * half

    best, start = np.inf, np.zeros(4)
    for begin in begins.tolist():
        use = clear(begin)
        for constant in TOLERANCES.constants:
            columns = np.stack([np.ones(path.time.size), -lost(begin, constant, 6)], axis=1) / sigma[:, None]
            found, *_ = np.linalg.lstsq(columns[use], (path.turns / sigma)[use])
            left = np.abs(columns @ found - path.turns / sigma)[use]
            cost = float(np.mean(np.minimum(left, 10.0)))
            if cost < best:
                best, start = cost, np.array([found[0], found[1] / found[0], np.log(constant), begin])
    use, low, high = clear(start[3]), begins[0] - half / 4, begins[-1] + half / 4
    start[1] = np.clip(start[1], -0.15, 0.99 * TOLERANCES.swing)

    def residuals(values: Floats) -> Floats:
        speed = values[0] * (1 - values[1] * lost(values[3], float(np.exp(values[2]))))
        return np.asarray(((speed - path.turns) / sigma)[use])

    fit = optimize.least_squares(
        residuals, start, loss="soft_l1", f_scale=3.0, x_scale=[start[0], 0.01, 0.1, 1e-3],
        bounds=([0.5 * start[0], -0.2, np.log(2e-3), low], [1.5 * start[0], TOLERANCES.swing, np.log(50.0), high]),
    )  # fmt: skip
    return _estimates_of(fit, path)


def _begins(path: Track, release: float | None, half: float) -> Floats:
    """Return candidate starts of the dip [s]: near the release, or wherever the track has both sides."""
    first, last = path.time[0] + half, path.time[-1] - 2 * half
    if release is None:
        return np.arange(first, last, half / 2) if last > first else np.empty(0)
    tries = release + np.linspace(-0.02, 0.04, 7)
    return np.asarray(tries[(tries > first) & (tries < last)])


def _estimates_of(fit: object, path: Track) -> tuple[Estimate, Estimate]:
    """Return droop and recovery from a fit, or estimates with the reason why there is none."""
    jacobian, left, values = fit.jac, fit.fun, fit.x  # type: ignore[attr-defined]
    # Frames overlap eightfold, so that neighbours are correlated.
    scatter = max(1.0, float(np.sum(np.minimum(left**2, 9.0)) / max(1.0, left.size - 4)))
    try:
        covariance = np.linalg.inv(jacobian.T @ jacobian) * scatter * min(left.size, 4.0)
    except np.linalg.LinAlgError:
        covariance = np.full((4, 4), np.inf)
    droop, spread = float(values[1]), float(np.sqrt(covariance[1, 1]))
    if not np.isfinite(spread) or droop < TOLERANCES.sure * spread:
        most = "" if not np.isfinite(spread) else f": less than {100 * (max(droop, 0) + 2 * spread):.2g} %"
        why = Estimate(reason=f"no dip stands out{most}")
        return why, why
    if droop > 0.98 * TOLERANCES.swing:
        why = Estimate(reason=f"the tone drops by more than {100 * TOLERANCES.swing:.0f} %, or is lost")
        return why, why
    spread = float(np.hypot(spread, TOLERANCES.method * droop))
    lost = float(np.exp(values[2]))
    share = float(np.sqrt(covariance[2, 2]))
    found = Estimate(value=droop, standard_uncertainty=spread)
    if share > TOLERANCES.worst or path.time[-1] - values[3] < lost:
        return found, Estimate(reason="the recording ends before the wheel is back, or the dip is too faint")
    return found, Estimate(value=lost * float(np.log(10)), standard_uncertainty=lost * float(np.log(10)) * share)
