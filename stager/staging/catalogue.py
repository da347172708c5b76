"""Launchers with parts of their catalogues in place."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from stager.hardware.arrays import Number
from stager.hardware.launcher import Launcher
from stager.hardware.scenario import Scenario
from stager.hardware.stage import Stage
from stager.physics.parts import fitted

Parts = tuple[int, int]
"""Numbers of wheel and drive, 0: as written."""


def parts_of(stage: Stage) -> tuple[Parts, ...]:
    """What may be chosen for a stage; a drive as written only where there is one, or no other."""
    drives = range(0 if stage.drive is not None or not stage.drive_options else 1, len(stage.drive_options) + 1)
    return tuple((wheel, drive) for wheel in range(len(stage.wheel_options) + 1) for drive in drives)


def with_parts(scenario: Scenario, parts: Sequence[Parts]) -> Scenario:
    """The scenario with chosen parts, one a stage; the last serves for all further stages."""
    realise = scenario.realise
    return replace(scenario, launcher=outfit(scenario.launcher, parts), realise=_Realise(realise, tuple(parts)))


@dataclass(frozen=True, slots=True)
class _Realise:
    """Launchers with other values and the chosen parts."""

    given: Callable[[Mapping[str, Number]], Launcher]
    parts: tuple[Parts, ...]

    def __call__(self, values: Mapping[str, Number]) -> Launcher:
        return outfit(self.given(values), self.parts)


def outfit(launcher: Launcher, parts: Sequence[Parts]) -> Launcher:
    """The launcher with chosen parts; equal stages stay one record."""
    made: dict[tuple[int, Parts], Stage] = {}

    def stage(index: int) -> Stage:
        written, chosen = launcher.stage(index), parts[min(index, len(parts) - 1)]
        chosen = chosen if chosen in parts_of(written) else parts_of(written)[0]
        key = id(written), chosen
        if key not in made:
            made[key] = fitted(written, *chosen)
        return made[key]

    alike = len(set(parts)) == 1
    count = len(launcher.stages) if alike else max(len(launcher.stages), len(parts))
    return replace(launcher, template=stage(max(count, len(parts))), stages=tuple(stage(k) for k in range(count)))


def names(stage: Stage, parts: Parts) -> tuple[str, str]:
    """Names of wheel and drive; numbers where they have none."""
    drive = (stage.drive, *stage.drive_options)[parts[1]]
    wheel = (stage.wheel, *stage.wheel_options)[parts[0]]
    return wheel.name or _number(parts[0]), "" if drive is None else drive.name or _number(parts[1])


def _number(option: int) -> str:
    return f"option {option}" if option else "as written"
