"""A sweep that shows itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar

from stager.api.results.shown import Shown
from stager.optimise.sweep import Sweep

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.constraints.recommend import Recommended
    from stager.fit.grip_ensemble import Tuned
    from stager.fit.observations import Observations
    from stager.report.answer import Answer
    from stager.report.figures import Picture


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SweepResult(Shown, Sweep):
    """A sweep; recommended: wheel speed to set; spread: grip limit over the configuration's uncertainties; measured:
    throws next to it."""

    ROWS: ClassVar[str] = "wheel_speed_m_s"

    loaded: Loaded = field(repr=False, compare=False)
    recommended: Recommended | None = None
    spread: Tuned | None = None
    measured: Observations | None = None

    def answer(self) -> Answer:
        """What `stager sweep` answers."""
        from stager.report import sweep
        from stager.report.spin import left_out

        launcher, goal = self.loaded.scenario.launcher, self.loaded.scenario.goal
        said = sweep.answer(launcher, self, self.loaded.source(), self.spread, self.measured, self.recommended)
        return left_out(said, goal)

    def pictures(self) -> list[Picture]:
        """The curve with its grip limit and the throws that belong to it."""
        from stager.report.figures.sweep import Curve, picture

        near = None if self.measured is None else self.measured.drawn(self.before_a, self.before_b)
        return [
            picture(
                Curve(sweep=self, grip_limit=None if self.spread is None else self.spread.grip_limit, measured=near)
            )
        ]
