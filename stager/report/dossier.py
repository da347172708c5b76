"""Everything that a page tells of a launcher."""

from __future__ import annotations

from dataclasses import dataclass

from stager.config import Configuration
from stager.fit.answers import Learned
from stager.fit.experiment_design import Next
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.optimise.records import Plan
from stager.physics.rate import Sequence
from stager.report.document import Source
from stager.report.figures.sweep import Curve


@dataclass(frozen=True, slots=True, kw_only=True)
class Dossier:
    """A plan with what explains it.

    curves: of each planned stage; sequence: the first throws at the feed's rate; learned, suggested: what measured
    throws have told, and what to measure next.
    """

    configuration: Configuration
    scenario: Scenario
    source: Source
    plan: Plan
    curves: tuple[Curve, ...] = ()
    sequence: Sequence | None = None
    learned: Learned | None = None
    suggested: Next | None = None

    @property
    def launcher(self) -> Launcher:
        """The launcher that was planned, with the parts that a catalogue was asked for."""
        return self.scenario.launcher if self.plan.best is None else self.plan.best.design.launcher
