"""A throw without a chronograph: what its recording tells."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path as FilePath

import numpy as np

from stager.errors import InputError
from stager.fit.sound import Estimate, Listened, Path
from stager.fit.sound import listen as listen_to
from stager.units import QuantityError, parse

RANGE = "600:30000"
SLOWEST, FASTEST = 60.0, 200_000.0
"""Range of speeds that can be asked for [rpm]."""


def listen(
    file: str | FilePath, *, distance: str | None = None, microphone: str | None = None, to_target: str | None = None,
    temperature: str = "20 degC ± 5 K", rpm: Sequence[str] = (), marks: int = 1, knocks: Sequence[float] = (),
    channel: int | None = None, start: float = 0.0, end: float | None = None,
) -> Listened:  # fmt: skip
    """Return what a recording (WAV) tells of a throw.

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
        What sounds so many times a turn.
    knocks : sequence of float
        About when the two knocks are, where there are more [s].
    channel, start, end
        Microphone, from 1, and the part of the file that is taken [s].

    Raises
    ------
    InputError
        Where the file or an option cannot be used.
    """
    from stager.api.recording import read_recording

    path = Path(
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
    recording, sha256 = read_recording(FilePath(file), channel=channel, start=start, end=end)
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
    """Turns per second from "LOW:HIGH" in rpm."""
    try:
        low, high = (float(part) for part in text.lower().replace("rpm", "").split(":"))
    except ValueError:
        raise InputError(f'cannot read "{text}" as a range', where="--rpm", hint="as 2000:6000, in rpm") from None
    if not (np.isfinite([low, high]).all() and SLOWEST <= low < high <= FASTEST):
        message = f"must rise, between {SLOWEST:.0f} and {FASTEST:.0f} rpm (got {text})"
        raise InputError(message, where="--rpm", hint="as 2000:6000, in rpm")
    return low / 60, high / 60
