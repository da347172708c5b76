"""Read wheel speeds as people write them: m/s, rpm, A:B."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stager.errors import InputError
from stager.model.arrays import MAX_STAGES, MAX_SURFACE_SPEED

if TYPE_CHECKING:
    from stager.model.arrays import Floats
    from stager.model.launcher import Launcher
    from stager.model.stage import Stage

Speed = float | str | tuple[float | str, float | str]
_NUMBER = re.compile(r"^\s*[+-]?[\d.]+(?:[eE][+-]?\d+)?")
HINT = 'give one speed a stage, as 12, "9000 rpm" or, for the two wheels of a pair, 12:9'
UNSET = (
    'give one --speed a stage, as in --speed 12 --speed 17 (also "9000 rpm", or 12:9 for the two wheels of a pair),'
    ' or set speed = "12 m/s" in [stage]'
)


@dataclass(frozen=True, slots=True)
class Speeds:
    """Surface speeds of side A and B [m/s], shape (stages,); side_b is None where no pair runs two speeds."""

    side_a: Floats
    side_b: Floats | None

    @property
    def pairs(self) -> list[tuple[float, float]]:
        """Side A and B of each stage [m/s]."""
        side_b = self.side_a if self.side_b is None else self.side_b
        return list(zip(self.side_a.tolist(), side_b.tolist(), strict=True))


def set_speeds(
    launcher: Launcher, given: Sequence[Speed], place: Callable[[int], str] = lambda stage: "speed"
) -> Speeds:
    """Return the given speeds, or the launcher's set speeds where none are given.

    place: returns the key of the set speed of a stage (from 0). Raises InputError for a speed that cannot be read, is
    beyond any wheel, or is missing.
    """
    if len(given) > MAX_STAGES:
        raise InputError(f"{len(given)} speeds, for at most {MAX_STAGES} stages", where="speed", hint=HINT)
    stages = [launcher.stage(k) for k in range(len(given) or max(1, len(launcher.stages)))]
    pairs = [_given(stages[k], given[k], k) if given else _configured(stages[k], k, place) for k in range(len(stages))]
    for k, sides in enumerate(pairs):
        if (fastest := max(side for side in sides if side is not None)) > MAX_SURFACE_SPEED:
            raise _too_fast(fastest, k, "speed" if given else place(k))
    side_a = np.array([a for a, _ in pairs])
    split = any(b is not None and b != a for a, b in pairs)
    return Speeds(side_a, np.array([a if b is None else b for a, b in pairs]) if split else None)


def _too_fast(fastest: float, k: int, where: str) -> InputError:
    set_to = f"stage {k + 1} is set to {fastest:.4g} m/s"
    message = f"no wheel holds together at more than {MAX_SURFACE_SPEED:g} m/s ({set_to})"
    return InputError(message, where=where, hint=HINT)


def too_many(count: int, stage: int) -> InputError:
    """Return the error for more speeds than there are stages before stage `stage` (from 1), which is swept."""
    fewer = "give none" if stage == 1 else "give " + " ".join(f"--speed {12 + 5 * k}" for k in range(stage - 1))
    before = "no stage" if stage == 1 else "1 stage" if stage == 2 else f"{stage - 1} stages"
    message = f"{count} {'speed' if count == 1 else 'speeds'} for {before} before stage {stage}, whose speed is swept"
    return InputError(message, where="speed", hint=f"{fewer}, or name the stage to sweep: --stage {count + 1}")


def _configured(stage: Stage, k: int, place: Callable[[int], str]) -> tuple[float, float | None]:
    if stage.speed is None:
        raise InputError(f"is missing: stage {k + 1} has no set speed", where=place(k), hint=UNSET)
    return float(stage.speed), None if stage.speed_b is None else float(stage.speed_b)


def _given(stage: Stage, speed: Speed, k: int) -> tuple[float, float | None]:
    parts = list(speed) if isinstance(speed, tuple) else str(speed).split(":")
    if len(parts) == 1:
        return _surface(stage, parts[0]), None
    if len(parts) > 2:
        raise InputError(f"a stage has two wheels at most (got {speed})", where="speed", hint=HINT)
    if not stage.layout.side_b_driven:
        raise InputError(
            f'stage {k + 1} has one driven wheel, as its layout is "{stage.layout.name}" (got {speed})',
            where="speed", hint=HINT,
        )  # fmt: skip
    unit = _unit(parts[1])
    if unit and not _unit(parts[0]):
        parts[0] = f"{parts[0]} {unit}"
    return _surface(stage, parts[0]), _surface(stage, parts[1])


def _unit(part: float | str) -> str:
    return _NUMBER.sub("", str(part)).strip()


def _surface(stage: Stage, part: float | str) -> float:
    """Return a surface speed [m/s] from a number, or from text with a unit of speed or of rotation."""
    try:
        value = float(part)
    except ValueError:
        value = _with_unit(stage, str(part))
    if not (math.isfinite(value) and value >= 0):
        raise InputError(f"must be 0 m/s or more (got {part})", where="speed", hint=HINT)
    return value


def _with_unit(stage: Stage, text: str) -> float:
    from stager.units import QuantityError, parse

    try:
        return parse(text, "rad/s", "9000 rpm").value * float(stage.wheel.radius)
    except QuantityError:
        try:
            return parse(text, "m/s", "12 m/s").value
        except QuantityError as error:
            raise InputError(str(error), where="speed", hint=HINT) from error
