"""Report data: everything that a page tells of a launcher."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from stager.config import Configuration
from stager.constraints.duty import Duty, duty
from stager.fit.experiment_design import Next
from stager.fit.prediction import Learned
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.optimise.records import Plan, Settings
from stager.optimise.response import Response
from stager.physics.rate import Sequence
from stager.report import fit
from stager.report import plan as plans
from stager.report.answer import Answer, Provenance, Screen
from stager.report.figures.of_sweep import SweepCurve


@dataclass(frozen=True, kw_only=True)
class ReportData:
    """A plan with what explains it; what several sections show is computed once.

    curves: of each planned stage; sequence: the first throws at the feed's rate; response: tables for trying other
    settings; learned, suggested: what measured throws have told, and what to measure next.
    """

    configuration: Configuration
    scenario: Scenario
    source: Provenance
    plan: Plan
    curves: tuple[SweepCurve, ...] = ()
    sequence: Sequence | None = None
    response: Response | None = None
    learned: Learned | None = None
    suggested: Next | None = None

    @property
    def title(self) -> str:
        """The configuration's title, or its file's name."""
        return self.scenario.title or self.configuration.path.name

    @property
    def launcher(self) -> Launcher:
        """The launcher that was planned, with the parts that a catalogue was asked for."""
        return self.scenario.launcher if self.plan.best is None else self.plan.best.design.launcher

    @property
    def settings(self) -> Settings | None:
        """The planned settings; None where no design fits or no stage is needed."""
        best = self.plan.best
        return None if best is None or best.count == 0 else best

    @cached_property
    def answer(self) -> Answer:
        """What `plan` answers."""
        return plans.answer(self.launcher, self.plan, self.source)

    @property
    def screen(self) -> Screen:
        """The plan's screen."""
        return self.answer.screen or Screen("")

    @property
    def content(self) -> Mapping[str, Any]:
        """The plan's document."""
        return self.answer.document

    @cached_property
    def duty(self) -> Duty | None:
        """What drives and supply go through; None where they are not known."""
        return None if self.settings is None else duty(self.settings.design)

    @property
    def doubts(self) -> list[str]:
        """Where the throws put a grip limit elsewhere than the configuration, a sentence each."""
        found = [(curve.sweep, curve.doubt) for curve in self.curves]
        return [
            f"The throws put the grip limit of stage {sweep.stage} at {limit.low:.2f} to {limit.high:.2f} m/s, the"
            f" configuration at {sweep.grip_speed:.2f} m/s."
            for sweep, limit in found if limit is not None
        ]  # fmt: skip

    @property
    def contradictions(self) -> list[str]:
        """What measured throws say against the settings, a sentence each; none where settings can be shown."""
        if self.learned is None:
            return []
        learned = self.learned.fit
        unfit = [] if learned.adequate else [fit.misfit_headline(learned), *fit.misfit_advice(learned)]
        return [*unfit, *(self.doubts if any(curve.refuted for curve in self.curves) else [])]
