"""Measured throws that ended with one stage, beside what a configuration expects of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stager.fit.forward_model import forward_model
from stager.fit.laws import own_law
from stager.fit.table.record import Mask, Throws
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.physics.chain import Options
from stager.physics.muzzle import last_wheel_speed, speed_before_outlet

NEAR = 0.03
"""A throw belongs to a stage's curve if the other wheels were set this close to what the curve is of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observations:
    """Throws through stages 1 to some stage, one a row.

    throws: they; side_a, side_b: surface speeds [m/s], (n, stages); expected: what the chronograph would show by the
    configuration [m/s], (n,), 0: nothing comes out; last_wheel: speed at the last wheel of what was measured [m/s],
    (n,).
    """

    throws: Throws
    side_a: Floats
    side_b: Floats
    expected: Floats
    last_wheel: Floats

    @property
    def difference(self) -> Floats:
        """Measured above expected, by the expected [-], (n,); NaN where either is a jam."""
        measured = self.throws.exit_speed
        passed = (measured > 0) & (self.expected > 0)
        return np.where(passed, measured / np.where(passed, self.expected, 1.0) - 1, np.nan)

    def on_curve(self, before_a: Floats, before_b: Floats) -> Mask:
        """Which belong to the curve of the last stage, both sides alike, behind stages at speeds (stages - 1,) [m/s]:
        (n,)."""
        wanted_a = np.column_stack([np.broadcast_to(before_a, self.side_a[:, :-1].shape), self.side_a[:, -1]])
        wanted_b = np.column_stack([np.broadcast_to(before_b, self.side_b[:, :-1].shape), self.side_a[:, -1]])
        close = [
            np.abs(set_at - wanted) <= NEAR * wanted
            for set_at, wanted in ((self.side_a, wanted_a), (self.side_b, wanted_b))
        ]
        return np.asarray(close[0].all(axis=1) & close[1].all(axis=1))

    def drawn(self, before_a: Floats, before_b: Floats) -> Floats:
        """Return speeds of the last wheel and of what left it [m/s], (m, 2), of throws that belong to the curve."""
        rows = self.on_curve(before_a, before_b) & (self.throws.exit_speed > 0)
        return np.column_stack([self.side_a[rows, -1], self.last_wheel[rows]])


def observations(scenario: Scenario, throws: Throws, stage: int) -> Observations:
    """Those of `throws` that went through all stages up to `stage` (from 0) and no further."""
    present = throws.present
    ended = (present == (np.arange(present.shape[1]) <= stage)).all(axis=1) & (present.sum(axis=1) == stage + 1)
    chosen = throws.chosen(ended)
    if not len(chosen):
        none = np.zeros((0, stage + 1))
        return Observations(throws=chosen, side_a=none, side_b=none, expected=np.zeros(0), last_wheel=np.zeros(0))
    launcher, stages = scenario.launcher, range(stage + 1)
    return Observations(
        throws=chosen, side_a=chosen.surface_speed(launcher, stages, 0),
        side_b=chosen.surface_speed(launcher, stages, 1),
        expected=forward_model(scenario, own_law(scenario), chosen).exit_speed_of(launcher, Options()),
        last_wheel=_last_wheel(launcher, chosen),
    )  # fmt: skip


def _last_wheel(launcher: Launcher, throws: Throws) -> Floats:
    """Speed at the last wheel of what was measured [m/s], (n,); 0: a jam."""
    if not throws.at_outlet:
        return last_wheel_speed(launcher, throws.exit_speed)
    left = np.asarray(speed_before_outlet(launcher, throws.exit_speed))
    return np.where(throws.exit_speed > 0, left, 0.0)
