"""The data of a report, and the answer of `stager report`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from stager.config import Configuration
from stager.constraints.duty import Duty, duty
from stager.fit.experiment_design import Next
from stager.fit.prediction import Learned
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.optimise.records import Plan, Settings
from stager.optimise.response import Response
from stager.physics.rate import Sequence as ThrowSequence
from stager.report import fit
from stager.report import plan as plans
from stager.report.answer import PROVENANCE, Answer, Provenance, Screen, document
from stager.report.figures.of_sweep import SweepCurve
from stager.report.numbers import plural


@dataclass(frozen=True, kw_only=True)
class ReportData:
    """A plan with what a page shows beside it.

    configuration: as read; scenario: its launcher, or the fitted one where the model fits measured throws
    curves: exit speed against wheel speed of each planned stage; sequence: the first throws at the feed's rate;
    response: tables for the sliders; learned: the fit to measured throws; suggested: what to measure next.
    """

    configuration: Configuration
    scenario: Scenario
    source: Provenance
    plan: Plan
    curves: tuple[SweepCurve, ...] = ()
    sequence: ThrowSequence | None = None
    response: Response | None = None
    learned: Learned | None = None
    suggested: Next | None = None

    @property
    def title(self) -> str:
        """The configuration's title, or its file's name."""
        return self.scenario.title or self.configuration.path.name

    @property
    def launcher(self) -> Launcher:
        """The planned launcher, with the parts chosen from lists."""
        return self.scenario.launcher if self.plan.best is None else self.plan.best.design.launcher

    @property
    def settings(self) -> Settings | None:
        """The planned settings; None where no design fits or no stage is needed."""
        best = self.plan.best
        return None if best is None or best.count == 0 else best

    @cached_property
    def answer(self) -> Answer:
        """The answer of `stager plan`."""
        guessed = self.scenario.guessed and self.learned is None
        return plans.answer(self.launcher, self.plan, self.source, guessed=guessed)

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
        """Spin-up, steady throwing and warm windings; None without drives or supply."""
        return None if self.settings is None else duty(self.settings.design)

    @property
    def contradictions(self) -> list[str]:
        """Sentences on how measured throws contradict the model; empty where settings can be shown."""
        if self.learned is None or self.learned.fit.adequate:
            return []
        return [fit.misfit_headline(self.learned.fit), *fit.misfit_advice(self.learned.fit)]

    @property
    def fitted_to(self) -> str:
        """The throws that the planned launcher was fitted to, "12 throws of throws.csv"; "" where it was not."""
        if self.learned is None or self.contradictions:
            return ""
        done = self.learned.fit
        return f"{plural(int(done.used.size), 'throw')} of {Path(done.throws.source).name}"


def page_answer(data: ReportData, page: Path, figures: Sequence[Path] = ()) -> Answer:
    """Return the plan's headline and where the page is; it is a "no" where the plan is."""
    screen = data.screen
    notes = [f"The page is {page}."]
    if data.fitted_to:
        notes.insert(0, f"Planned for the launcher as fitted to {data.fitted_to}.")
    if figures:
        notes.append(f"{plural(len(figures), 'figure file')} in {figures[0].parent}.")
    content = {
        "page": str(page), "figures": [str(path) for path in figures], "fitted": bool(data.fitted_to),
        "plan": {key: value for key, value in data.content.items() if key not in PROVENANCE},
    }  # fmt: skip
    short = Screen(screen.headline, notes=notes, verdict=screen.verdict)
    return Answer(short, document(content, data.source), yes=data.answer.yes)
