"""`listen`: speed and rpm from the recording of a throw, and reading of WAV files."""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from stager.errors import InputError
from stager.fit.sound import Estimate, Listened, Recording
from stager.fit.sound import Path as SoundPath
from stager.fit.sound import listen as listen_to
from stager.model.arrays import Floats
from stager.units import QuantityError, parse

LARGEST = 100_000_000
"""Greatest size of a file [byte]: 17 minutes of one microphone at 48 kHz and 16 bits."""
SHORTEST = 0.1
"""Least length of a recording [s]."""
SLOWEST_SAMPLING = 4000.0
"""Lowest sampling rate that is accepted [Hz]."""
FASTEST_SAMPLING = 400_000.0
"""Highest sampling rate that is accepted [Hz]."""
FORMATS = "a WAV file, uncompressed: 8, 16, 24 or 32 bits or floating point, one channel or more"


def read_recording(
    path: Path, *, channel: int | None = None, start: float = 0.0, end: float | None = None
) -> tuple[Recording, str]:
    """Return a recording, scaled to ±1, and the SHA-256 of its file.

    Parameters
    ----------
    path : Path
    channel : int or None
        Which microphone, from 1; None: the loudest.
    start, end : float
        What part of the file is taken [s]; end None: to its end.

    Raises
    ------
    InputError
        Where the file is none that can be read, or holds too little.
    """
    content = _content(path)
    rate, samples = _samples(path, content)
    chosen = samples[:, _channel(path, samples, channel)]
    length = samples.shape[0] / rate
    if start >= length:
        raise InputError(f"is {length:.3g} s long, so nothing begins at {start:g} s", where=str(path), hint="--start")
    first, last = round(start * rate), samples.shape[0] if end is None else min(round(end * rate), samples.shape[0])
    part = np.ascontiguousarray(chosen[first:last])
    if part.size < SHORTEST * rate:
        message = f"holds {part.size / rate:.3g} s of sound, and at least {SHORTEST:g} s are needed"
        raise InputError(
            message, where=str(path), hint="record from a second before the throw to some seconds after it"
        )
    recording = Recording(samples=part, rate=float(rate), start=first / rate)
    return recording, hashlib.sha256(content).hexdigest()


def _content(path: Path) -> bytes:
    try:
        if not path.is_file():
            there = "is not a regular file" if path.exists() else "is not there"
            raise InputError(there, where=str(path), hint=f"name {FORMATS}")
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read: {reason}", where=str(path)) from error
    if len(content) > LARGEST:
        message = f"is larger than the {LARGEST / 1e6:.0f} MB that are read"
        raise InputError(message, where=str(path), hint="cut the recording to the throws, one channel, 16 bits")
    return content


def _samples(path: Path, content: bytes) -> tuple[int, Floats]:
    """Return the sampling rate [Hz] and the samples within ±1, shape (n, channels)."""
    from scipy.io import wavfile

    hint = f"it should be {FORMATS}"
    if content[:4] not in (b"RIFF", b"RIFX", b"RF64") or content[8:12] != b"WAVE":
        raise InputError("is not a WAV file" if content else "is empty", where=str(path), hint=hint)
    try:
        with warnings.catch_warnings():
            # Unknown chunks and a missing end are no harm: what is there is read.
            warnings.simplefilter("ignore", wavfile.WavFileWarning)
            rate, raw = wavfile.read(io.BytesIO(_ended(content)))
    except Exception as error:
        # the reader answers damaged files with errors of a dozen kinds
        reason = str(error).strip().rstrip(".") or type(error).__name__
        raise InputError(f"cannot be read as a WAV file: {reason[:120]}", where=str(path), hint=hint) from error
    if np.asarray(raw).dtype.kind not in "iuf":
        raise InputError(
            f"holds samples of a kind that is not read ({np.asarray(raw).dtype})", where=str(path), hint=hint
        )
    samples = _scaled(np.asarray(raw))
    if samples.size == 0 or not SLOWEST_SAMPLING <= rate <= FASTEST_SAMPLING:
        what = "holds no sound" if samples.size == 0 else f"has {rate} samples a second"
        taken = f"{SLOWEST_SAMPLING:.0f} to {FASTEST_SAMPLING:.0f} samples a second are taken"
        raise InputError(what, where=str(path), hint=taken)
    samples = samples.reshape(samples.shape[0], -1)
    if not np.isfinite(samples).all():
        raise InputError("holds samples that are no numbers", where=str(path), hint=hint)
    return int(rate), samples


def _ended(content: bytes) -> bytes:
    """Return the content without a part of a sample at its end, where the file was cut off."""
    place, width = 12, 1
    while place + 8 <= len(content):
        name, size = content[place : place + 4], int.from_bytes(content[place + 4 : place + 8], "little")
        if name == b"fmt ":
            width = max(1, int.from_bytes(content[place + 20 : place + 22], "little"))
        if name == b"data":
            left = len(content) - place - 8
            return content[: len(content) - left % width] if size > left else content
        place += 8 + size + size % 2
    return content


def _scaled(raw: np.ndarray) -> Floats:
    """Return samples as floats within ±1: 8 bits are unsigned, 24 bits come as the upper ones of 32."""
    if raw.dtype == np.uint8:
        return np.asarray((raw.astype(np.float64) - 128) / 128)
    if np.issubdtype(raw.dtype, np.integer):
        return np.asarray(raw / -float(np.iinfo(raw.dtype).min))
    largest = float(np.max(np.abs(raw), initial=0.0)) if np.isfinite(raw).all() else 1.0
    # Floating-point samples may be so large that their squares overflow.
    return np.asarray(raw, dtype=np.float64) / (largest if largest > 0 else 1.0)


def _channel(path: Path, samples: Floats, channel: int | None) -> int:
    count = samples.shape[1]
    if channel is None:
        return int(np.argmax(np.std(samples, axis=0)))
    if not 1 <= channel <= count:
        has = "one channel" if count == 1 else f"{count} channels"
        raise InputError(f"has {has} (got {channel})", where=f"{path}: --channel", hint="leave it out for the loudest")
    return channel - 1


RANGE = "600:30000"
"""Range in which a wheel is looked for, where none is given [rpm]."""
SLOWEST = 60.0
"""Least speed that a range may include [rpm]."""
FASTEST = 200_000.0
"""Greatest speed that a range may include [rpm]."""


def listen(
    file: str | Path, *, distance: str | None = None, microphone: str | None = None, to_target: str | None = None,
    temperature: str = "20 degC ± 5 K", rpm: Sequence[str] = (), marks: int = 1, knocks: Sequence[float] = (),
    channel: int | None = None, start: float = 0.0, end: float | None = None,
) -> Listened:  # fmt: skip
    """Find speed, rpm, droop and recovery in the recording (WAV) of a throw.

    Parameters
    ----------
    file : path
    distance, microphone, to_target : str, optional
        From where the first knock sounds to the target, and from the microphone to either, as "5 m ± 1 cm".
    temperature : str
        Of the air.
    rpm : sequence of str
        Ranges "LOW:HIGH" in which a wheel is looked for [rpm], one a wheel.
    marks : int
        Blades, spokes or marks that sound in a turn.
    knocks : sequence of float
        About when the two knocks are, where there are more [s].
    channel, start, end
        Microphone, from 1, and the part of the file that is taken [s].

    Raises
    ------
    InputError
        Where the file or an option cannot be used.
    """
    path = SoundPath(
        distance=_length("--distance", distance, zero=False), near=_length("--microphone", microphone),
        far=_length("--to-target", to_target),
        temperature=_quantity("--temperature", temperature, "K", "20 degC ± 5 K"),
    )  # fmt: skip
    if not 200 < (path.temperature.value or 0.0) < 340:
        raise InputError(f"is no temperature to be out in (got {temperature})", where="--temperature")
    if len(knocks) not in (0, 2):
        raise InputError(
            f"is given twice or not at all (got {len(knocks)})", where="--knock", hint="one for each knock"
        )
    ranges = [_range(text) for text in rpm or [RANGE]]
    recording, sha256 = read_recording(Path(file), channel=channel, start=start, end=end)
    heard = listen_to(recording, path, ranges, marks=marks, near=knocks)
    return Listened(heard=heard, path=path, file=str(file), sha256=sha256, seconds=recording.duration, marks=marks)


def _length(name: str, text: str | None, *, zero: bool = True) -> Estimate | None:
    if text is None:
        return None
    found = _quantity(name, text, "m", "5 m ± 1 cm")
    if not (found.value or 0.0) >= 0 or (not zero and not found.value):
        raise InputError(
            f"must be {'0 m or more' if zero else 'above 0 m'} (got {text})", where=name, hint="as 5 m ± 1 cm"
        )
    return found


def _quantity(name: str, text: str, unit: str, example: str) -> Estimate:
    try:
        found = parse(text, unit, example)
    except QuantityError as error:
        raise InputError(str(error), where=name, hint=error.hint) from error
    return Estimate(value=found.value, standard_uncertainty=found.standard_uncertainty)


def _range(text: str) -> tuple[float, float]:
    """Return turns per second from "LOW:HIGH" in rpm."""
    try:
        low, high = (float(part) for part in text.lower().replace("rpm", "").split(":"))
    except ValueError:
        raise InputError(f'cannot read "{text}" as a range', where="--rpm", hint="as 2000:6000, in rpm") from None
    if not (np.isfinite([low, high]).all() and SLOWEST <= low < high <= FASTEST):
        message = f"must rise, between {SLOWEST:.0f} and {FASTEST:.0f} rpm (got {text})"
        raise InputError(message, where="--rpm", hint="as 2000:6000, in rpm")
    return low / 60, high / 60
