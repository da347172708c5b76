"""From stage to stage in flat lanes: which nips act together, free runs between, records of each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.physics.guide import free_run
from stager.physics.layout import pitch
from stager.physics.options import Options
from stager.physics.records import Transit
from stager.physics.settings import Settings
from stager.physics.stretch import BLANK, blank, through, write
from stager.physics.transit.lanes import take
from stager.physics.transit.nip import Nip, build_nip


def relay(
    launcher: Launcher,
    first: int,
    entry_speed: Floats,
    entry_spin: Floats,
    settings: Settings,
    options: Options,
    ends: Floats,
) -> Transit:
    """Throws in lanes; entry_speed [m/s], entry_spin [rad/s] of shape (lanes,); result's fields (stages, lanes).

    ends: behind how many stages each ends, (lanes,).
    """
    stages, lanes = len(settings.side_a), entry_speed.size
    nips = tuple(
        build_nip(
            launcher.projectile, launcher.contact, launcher.stage(first + k), settings.of_a(k)[0], settings.of_b(k)[0]
        )
        for k in range(stages)
    )
    gaps = [_gap(launcher, first + k, nips[k], nips[k + 1], lanes) for k in range(stages - 1)]
    out = blank(stages, lanes)
    for pattern, index in _patterns(gaps, lanes):
        part, here, own, own_nips = out, launcher, settings, nips
        if index.size < lanes:
            part = blank(stages, index.size)
            here, own, own_nips = take(launcher, index), take(settings, index), take(nips, index)
        speed, spin = entry_speed[index], entry_spin[index]
        alive = np.ones(index.size, bool)
        for group in _groups(pattern, stages):
            if group[0] > 0:
                speed = free_run(here.guide, here.projectile, speed, gaps[group[0] - 1][index])
            speed, spin, alive = through(
                here, first, group, tuple(own_nips[k] for k in group), speed, spin, alive & (group[0] < ends[index]),
                own.chosen(group), part, options,
            )  # fmt: skip
        if part is not out:
            for name in BLANK:
                getattr(out, name)[:, index] = getattr(part, name)
    write(out, settings, [launcher.stage(first + k).layout for k in range(stages)])
    return out


def free_runs(launcher: Launcher, count: int, wheel_speed: Floats) -> list[Floats]:
    """Free runs between `count` stages at `wheel_speed` [m/s], each of shape (1,) [m]; negative: both act at once."""
    nips = [
        build_nip(launcher.projectile, launcher.contact, launcher.stage(k), wheel_speed, wheel_speed)
        for k in range(count)
    ]
    return [_gap(launcher, k, nips[k], nips[k + 1], 1) for k in range(count - 1)]


def run_up(launcher: Launcher, index: int, exit_speed: Floats, wheel_speed: Floats) -> Floats:
    """Speed into stage `index` [m/s], behind `exit_speed` [m/s] from the stage before; wheels at `wheel_speed` [m/s],
    shape (1,), which they grow with."""
    if index == 0 or launcher.guide is None:
        return exit_speed
    run = free_runs(launcher, index + 1, wheel_speed)[-1]
    return free_run(launcher.guide, launcher.projectile, exit_speed, np.maximum(run, 0.0))


def overlapping(launcher: Launcher, count: int, wheel_speed: Floats) -> bool:
    """Whether any two neighbours of `count` stages act at once at `wheel_speed` [m/s], shape (1,)."""
    return any(bool((run < 0).any()) for run in free_runs(launcher, count, wheel_speed))


def _gap(launcher: Launcher, index: int, nip: Nip, after: Nip, lanes: int) -> Floats:
    """Free run between two nips [m], shape (lanes,); negative where both act at once."""
    return np.broadcast_to(pitch(launcher, index) + after.breaks[0] - nip.breaks[-1], (lanes,))


def _patterns(gaps: list[Floats], lanes: int) -> list[tuple[tuple[bool, ...], NDArray[np.intp]]]:
    """Lanes sorted by which neighbouring stages act at once."""
    if not gaps or all((gap >= 0).all() for gap in gaps):
        return [((False,) * len(gaps), np.arange(lanes))]
    joined = np.stack([gap < 0 for gap in gaps], axis=1)
    kinds, which = np.unique(joined, axis=0, return_inverse=True)
    return [
        (tuple(bool(flag) for flag in kind), np.flatnonzero(which.reshape(-1) == number))
        for number, kind in enumerate(kinds)
    ]


def _groups(joined: tuple[bool, ...], stages: int) -> list[list[int]]:
    groups = [[0]] if stages else []
    for index in range(1, stages):
        if joined[index - 1]:
            groups[-1].append(index)
        else:
            groups.append([index])
    return groups
