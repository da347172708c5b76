"""Stages that are not built yet: how to set them, what they will give; and how sure a stage's curve is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from stager.constraints.recommend import Recommended
from stager.fit.draws import Ensemble
from stager.fit.grip_ensemble import Finder, GripLimits, Span, Tuned, at, behind, feed, span_of, tune
from stager.fit.statistics.coverage import interval
from stager.model.arrays import Floats
from stager.physics.chain import SURE, transit


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """A chain of `stages`; speeds in m/s.

    wheel_speed: recommended settings, (stages,); exit_speed: at these settings, whichever draw is true;
    tuned_exit: with each draw at its own best settings, as a bench would find them; gain: of tuned_exit on one stage
    less [-] (None for the first stage); probability_worthwhile: that the gain is at least what the goal asks for;
    tuned: grip limit and recommended setting of the last stage; measured: throws with so many stages were fitted.
    """

    stages: int
    wheel_speed: Floats
    exit_speed: Span
    tuned_exit: Span
    gain: Span | None
    probability_worthwhile: float | None
    tuned: Tuned
    measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One stage of a chain that every launcher of an ensemble tunes for itself.

    entry_speed [m/s], entry_spin [rad/s], (lanes,); found: its grip limits; settings: wheel speeds of all stages up
    to it [m/s], (lanes, stages).
    """

    entry_speed: Floats
    entry_spin: Floats
    found: GripLimits
    settings: Floats


def chain(ensemble: Ensemble, stages: int, find: Finder) -> Iterator[Step]:
    """Stage by stage, each set to its grip limit less the margin that the limits ask for, or where it is fastest."""
    margin = 1 - ensemble.scenario.limit_values.grip_margin
    speed, spin = feed(ensemble)
    settings = np.zeros((ensemble.lanes, 0))
    for index in range(stages):
        found = find(ensemble.launcher, index, speed, spin)
        known = ~np.isnan(found.wheel_speed)
        settings = np.column_stack([settings, np.where(known, margin * found.wheel_speed, found.peak_speed)])
        yield Step(entry_speed=speed, entry_spin=spin, found=found, settings=settings)
        if index < stages - 1:
            speed, spin = at(ensemble, settings)


def predict(
    ensemble: Ensemble, stages: int, find: Finder, chosen: Sequence[Recommended], *, built: int = 0
) -> tuple[Predicted, ...]:
    """Return chains of one to `stages` stages, of which `built` have been measured.

    chosen: recommended settings of the stages in turn; no chain is told of beyond the last that has one.
    """
    worthwhile = ensemble.scenario.goal.worthwhile
    out: list[Predicted] = []
    before = None
    settings = np.array([one.wheel_speed for one in chosen if one.wheel_speed is not None])
    for index, step in enumerate(chain(ensemble, min(stages, settings.size), find)):
        speed, _ = at(ensemble, step.settings)
        fixed, _ = at(ensemble, settings[: index + 1])
        gain = None if before is None else speed / np.maximum(before, 1e-9) - 1
        out.append(
            Predicted(
                stages=index + 1, wheel_speed=settings[: index + 1], exit_speed=span_of(fixed),
                tuned_exit=span_of(speed),
                gain=None if gain is None else span_of(gain),
                probability_worthwhile=None if gain is None else float((gain[1:] >= worthwhile).mean()),
                tuned=tune(ensemble, index, step.entry_speed, step.entry_spin, step.found, chosen[index]),
                measured=index < built,
            )
        )  # fmt: skip
        before = speed
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """wheel_speed [m/s], (points,); best guess of exit speed there and ends of its 95 % coverage interval [m/s]."""

    wheel_speed: Floats
    nominal: Floats
    low: Floats
    high: Floats


def band(ensemble: Ensemble, index: int, before_a: Floats, before_b: Floats, wheel_speed: Floats) -> Band:
    """Band of stage `index` (from 0) at wheel speeds (points,) behind wheels at before_a, before_b, (index,) [m/s].

    Draws that jam count as 0 m/s.
    """
    speed, spin = behind(ensemble, before_a, before_b)
    exits = transit(
        ensemble.launcher, index, speed, wheel_speed[:, None], entry_spin=spin, options=SURE
    ).exit_speed  # (points, lanes)
    low, high = np.array([interval(row[1:]) for row in exits]).T
    return Band(wheel_speed=wheel_speed, nominal=exits[:, 0], low=low, high=high)
