"""Wheel speeds as people give them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stager.errors import InputError
from stager.hardware.arrays import Floats
from stager.hardware.launcher import Launcher
from stager.hardware.stage import Stage

Speed = float | str | tuple[float | str, float | str]
HINT = 'give one speed a stage, as 12, "9000 rpm" or, for the two wheels of a pair, 12:9'


@dataclass(frozen=True, slots=True)
class Speeds:
    """Surface speeds of side A and B [m/s], shape (stages,); side_b is None where no pair runs two speeds."""

    side_a: Floats
    side_b: Floats | None


def set_speeds(launcher: Launcher, given: Sequence[Speed]) -> Speeds:
    """Speeds as given, or the set speeds of the launcher where none are given.

    Raises InputError where a speed cannot be read, or where none is known.
    """
    stages = [launcher.stage(k) for k in range(len(given) or max(1, len(launcher.stages)))]
    pairs = [_given(stages[k], given[k], k) if given else _configured(stages[k], k) for k in range(len(stages))]
    side_a = np.array([a for a, _ in pairs])
    split = any(b is not None and b != a for a, b in pairs)
    return Speeds(side_a, np.array([a if b is None else b for a, b in pairs]) if split else None)


def _configured(stage: Stage, k: int) -> tuple[float, float | None]:
    if stage.speed is None:
        raise InputError(f"stage {k + 1} has no set speed", where="speed", hint=f"{HINT}, or set stage.speed")
    return float(stage.speed), None if stage.speed_b is None else float(stage.speed_b)


def _given(stage: Stage, speed: Speed, k: int) -> tuple[float, float | None]:
    parts = list(speed) if isinstance(speed, tuple) else str(speed).split(":")
    if len(parts) > 2 or (len(parts) == 2 and not stage.layout.side_b_driven):
        raise InputError(
            f"stage {k + 1} is a {stage.layout.name} and has one driven wheel (got {speed})"
            if len(parts) == 2
            else f"stage {k + 1} has two wheels at most (got {speed})",
            where="speed",
            hint=HINT,
        )
    surface = [_surface(stage, part) for part in parts]
    return surface[0], surface[1] if len(surface) == 2 else None


def _surface(stage: Stage, part: float | str) -> float:
    raise NotImplementedError
