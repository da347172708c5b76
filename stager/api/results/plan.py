"""A plan that shows itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stager.api.results.shown import Shown
from stager.optimise.records import Plan

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.report.answer import Answer
    from stager.report.figures import Picture


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class PlanResult(Shown, Plan):
    """A plan."""

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager plan` answers."""
        from stager.report import plan

        return plan.answer(self.loaded.scenario.launcher, self, self.loaded.source())

    def pictures(self) -> list[Picture]:
        """Ladder, side view, speed along the barrel, margins, energy."""
        from stager.report.data import ReportData
        from stager.report.page.gallery import of_plan

        loaded = self.loaded
        data = ReportData(
            configuration=loaded.configuration, scenario=loaded.scenario, source=loaded.source(), plan=self
        )  # fmt: skip
        return list(of_plan(data))
