"""Launchers with parts of their catalogues in place, at a crush of their range."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from stager.model.arrays import Number
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.model.stage import Stage
from stager.physics.parts import fitted

THIRDS = 4
"""How many crushes of a range are tried at first, besides the one as written."""
APART = 0.1
"""How far from the one as written they are, as a share of the range."""
LEAST, DIGITS = 1e-6, 3
"""The least crush that an error may leave of the chosen one [m]; digits of what is chosen."""


class Parts(NamedTuple):
    """Numbers of wheel and drive, 0: as written; crush [m], None: as written."""

    wheel: int
    drive: int
    crush: float | None = None


def parts_of(stage: Stage) -> tuple[Parts, ...]:
    """What may be chosen for a stage, of a range of crush a few; a drive as written only where there is one, or no
    other."""
    drives = range(0 if stage.drive is not None or not stage.drive_options else 1, len(stage.drive_options) + 1)
    wheels = range(len(stage.wheel_options) + 1)
    return tuple(Parts(wheel, drive, crush) for wheel in wheels for drive in drives for crush in _crushes(stage))


def has_range(stage: Stage) -> bool:
    """Whether the crush may be chosen."""
    return stage.crush_range is not None and stage.crush_range[0] < stage.crush_range[1]


def ranged_over(stages: Sequence[Stage]) -> tuple[float, float] | None:
    """Least and greatest crush [m] that may be chosen for any of the stages; None: there is none to choose."""
    ranges = [stage.crush_range for stage in stages if stage.crush_range is not None and has_range(stage)]
    return (min(low for low, _ in ranges), max(high for _, high in ranges)) if ranges else None


def _crushes(stage: Stage) -> tuple[float | None, ...]:
    if stage.crush_range is None or not has_range(stage):
        return (None,)
    low, high = stage.crush_range
    tried = [rounded(float(crush), low, high) for crush in np.linspace(low, high, THIRDS)]
    return (None, *(crush for crush in tried if abs(crush - float(stage.crush)) > APART * (high - low)))


def rounded(crush: float, low: float, high: float) -> float:
    """A crush [m] as one can set it, between two ends."""
    return min(max(float(f"{crush:.{DIGITS}g}"), low), high)


def with_parts(scenario: Scenario, parts: Sequence[Parts]) -> Scenario:
    """The scenario with chosen parts, one a stage; the last serves for all further stages.

    Launchers with other values have the chosen crush, and their own error in it.
    """
    written = scenario.launcher
    realise = _Realise(scenario.realise, tuple(parts), written)
    return replace(scenario, launcher=outfit(written, parts), realise=realise)


@dataclass(frozen=True, slots=True)
class _Realise:
    """Launchers with other values and the chosen parts."""

    given: Callable[[Mapping[str, Number]], Launcher]
    parts: tuple[Parts, ...]
    written: Launcher

    def __call__(self, values: Mapping[str, Number]) -> Launcher:
        return outfit(self.given(values), self.parts, self.written)


def outfit(launcher: Launcher, parts: Sequence[Parts], written: Launcher | None = None) -> Launcher:
    """The launcher with chosen parts; equal stages stay one record.

    written: where `launcher` is this one with other values, what its crush is off by stays in the chosen one.
    """
    made: dict[tuple[int, Parts, float], Stage] = {}

    def stage(index: int) -> Stage:
        given, nominal = launcher.stage(index), (written or launcher).stage(index)
        chosen = _within(nominal, parts[min(index, len(parts) - 1)])
        key = id(given), chosen, float(nominal.crush)
        if key not in made:
            made[key] = fitted(given, chosen.wheel, chosen.drive, _built(given, nominal, chosen.crush))
        return made[key]

    alike = len(set(parts)) == 1
    count = len(launcher.stages) if alike else max(len(launcher.stages), len(parts))
    return replace(launcher, template=stage(max(count, len(parts))), stages=tuple(stage(k) for k in range(count)))


def _within(stage: Stage, parts: Parts) -> Parts:
    """The parts as far as a stage offers them."""
    offered = parts_of(stage)
    wheel, drive, _ = offered[0]
    if any(parts[:2] == each[:2] for each in offered):
        wheel, drive = parts[:2]
    if parts.crush is None or stage.crush_range is None or not has_range(stage):
        return Parts(wheel, drive)
    return Parts(wheel, drive, min(max(parts.crush, stage.crush_range[0]), stage.crush_range[1]))


def _built(given: Stage, nominal: Stage, crush: float | None) -> Number | None:
    """The crush [m] of a stage that was to have `crush`; None: its own."""
    if crush is None or given is nominal:
        return crush
    return np.maximum(given.crush + (crush - nominal.crush), LEAST)


def crush_of(stage: Stage, parts: Parts) -> float:
    """The crush that a stage has with the parts [m]."""
    crush = _within(stage, parts).crush
    return float(stage.crush) if crush is None else crush


def names(stage: Stage, parts: Parts) -> tuple[str, str]:
    """Names of wheel and drive; numbers where they have none."""
    drive = (stage.drive, *stage.drive_options)[parts.drive]
    wheel = (stage.wheel, *stage.wheel_options)[parts.wheel]
    return wheel.name or _number(parts.wheel), "" if drive is None else drive.name or _number(parts.drive)


def _number(option: int) -> str:
    return f"option {option}" if option else "as written"
