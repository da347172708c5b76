"""The data of a report, and the texts and tables of its page, section by section."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import tau
from pathlib import Path
from typing import Any

from stager.config import Configuration
from stager.constraints.drives import Duty, duty
from stager.fit.experiment_design import Next
from stager.fit.posterior import LEAST_TOLD, Fit
from stager.fit.prediction import Learned
from stager.model.launcher import Launcher, Scenario
from stager.optimise.records import Plan, Settings
from stager.optimise.response import Response
from stager.physics.rate import Sequence as ThrowSequence
from stager.report import bench, drives, fit, flight, limits
from stager.report import fit as fits
from stager.report import plan as plans
from stager.report.answer import PROVENANCE, Answer, Column, Provenance, Screen, Table, document
from stager.report.card import COLUMNS, HASH_DIGITS, SAFETY, facts, settings_rows
from stager.report.explain import TERMS
from stager.report.figures.of_throw import SweepCurve
from stager.report.numbers import MISSING, about, digits, percent, plural, speed
from stager.report.plan import CAUTIONS, MORE_CAUTIONS
from stager.version import __version__


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
        return self.answer.shown

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


CONTRADICTED = "The measured throws contradict the model of this launcher."
"""Headline where settings are not shown."""


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
    verdict = " ".join([*data.contradictions, "The page shows no settings."]) if data.contradictions else screen.verdict
    short = Screen(CONTRADICTED if data.contradictions else screen.headline, notes=notes, verdict=verdict)
    return Answer(short, document(content, data.source), yes=data.answer.yes)


EXPLAINED = (
    "grip limit",
    "crush",
    "slip",
    "rebound",
    "creep",
    "jam",
    "droop",
    "ladder",
    "coverage interval",
    "confidence",
)
"""Terms that the page explains at its end."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A number with its name."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class CardRow:
    """The row of a wheel; spare: its stage is beyond the recommended ones."""

    cells: Sequence[str]
    spare: bool


@dataclass(frozen=True, slots=True)
class SettingsCard:
    """The settings card, a row for each wheel."""

    columns: Sequence[Column]
    rows: Sequence[CardRow]
    facts: str
    warning: str
    stamp: str


@dataclass(frozen=True, slots=True)
class Section:
    """A section: first sentence, tables, notes, and a last sentence."""

    lead: str = ""
    tables: Sequence[Table] = ()
    notes: Sequence[str] = ()
    more: str = ""


@dataclass(frozen=True, slots=True)
class View:
    """The page by section; card: None where there is nothing to set; kicker: short line above the answer."""

    kicker: str
    answer: str
    verdict: str
    facts: Sequence[Fact]
    card: SettingsCard | None
    worth: Section
    relaxations: Section
    limits: Section
    rate: Section
    flight: Section
    measured: Section
    next: Section
    cautions: Section
    terms: Mapping[str, str]
    provenance: Sequence[Fact]


def view(data: ReportData) -> View:
    """Return the page of `data`, without a plan that measured throws contradict."""
    found = data.plan.best is not None
    hidden = bool(data.contradictions)
    screen, measured = data.screen, _measured(data)
    count = plural(data.content["stage_count"], "stage") if found else "no design fits"
    return View(
        kicker="settings not shown" if hidden else count,
        answer=CONTRADICTED if hidden else screen.headline,
        verdict="" if hidden else screen.verdict,
        facts=() if hidden or not found else _facts(data),
        card=None if hidden or data.settings is None else _card(data, data.settings),
        worth=Section() if hidden else _worth(data),
        relaxations=Section() if hidden or found else Section(tables=screen.all_tables(full=True), notes=_notes(data)),
        limits=Section() if hidden or not found else _limits(data),
        rate=Section() if hidden else _rate(data),
        flight=Section() if hidden else _flight(data),
        measured=measured,
        next=_next(data, measured.notes),
        cautions=_cautions(data, hidden),
        terms={name: TERMS[name].text for name in EXPLAINED if name in TERMS},
        provenance=_provenance(data),
    )  # fmt: skip


def _facts(data: ReportData) -> Sequence[Fact]:
    """Return the main figures of a plan."""
    content, best = data.content, data.plan.best
    length, power, bound = content["length_m"], content["average_power_W"], plans.bound_behind(data.launcher, data.plan)
    spin = (content["spin_rad_s"] or 0.0) / tau
    settled = None if best is None or best.design.settled is None else best.design.settled
    fastest = data.plan.fastest
    other = (
        "" if fastest is None or best is None or fastest.count == best.count else f", {plural(fastest.count, 'stage')}"
    )
    gain = plans.possible_gain(data.launcher, data.plan)
    at_rate = MISSING if settled is None else drives.leaves(data.launcher, settled)
    facts = (
        Fact("Exit speed", f"{speed(content['outlet_speed_m_s'])} m/s"),
        Fact("Exit energy", f"{digits(content['exit_energy_J'])} J"),
        Fact("Stages", str(content["stage_count"])),
        Fact("Length", f"{1000 * length:.0f} mm" if length else MISSING),
        Fact("Average power", f"{digits(power)} W" if power is not None else MISSING),
        Fact("Exit speed at the rate" if settled is None else f"At {digits(float(settled.rate))} throws/s",
             at_rate),
        Fact("Spin", f"{digits(spin)} rev/s" if abs(spin) > 1e-6 else MISSING),
        Fact(f"Upper bound{other}", f"{speed(bound)} m/s" if bound is not None else MISSING),
        Fact("Possible further gain", MISSING if other else percent(gain)),
    )  # fmt: skip
    return [fact for fact in facts if fact.value != MISSING]


def _card(data: ReportData, best: Settings) -> SettingsCard:
    """Return the settings card: a row for each wheel, equal wheels of a pair in one."""
    found = settings_rows(data.launcher, best, data.plan.recommended_stages)
    fitted = data.fitted_to and f", fitted to {data.fitted_to}"
    kept = [i for i in range(len(COLUMNS)) if any(cells[i] != MISSING for cells, _ in found)]
    return SettingsCard(
        columns=[COLUMNS[i] for i in kept],
        rows=[CardRow([cells[i] for i in kept], not worth) for cells, worth in found],
        facts=facts(data.launcher, best), warning=SAFETY,
        stamp=f"configuration {data.source.config_sha256[:HASH_DIGITS]}{fitted}",
    )  # fmt: skip


def _worth(data: ReportData) -> Section:
    if len(data.plan.ladder) < 2:
        return Section()
    lead = f"A stage pays that adds at least {percent(data.scenario.goal.worthwhile)} of exit speed."
    last = data.plan.ladder[-1]
    if last.probability_worthwhile is not None:
        lead += f" Stage {last.stages} does in {percent(last.probability_worthwhile, 0)} of possible builds."
    return Section(lead=lead)


SHOWN_ELSEWHERE = ("Settings", "Limits", "Ladder")
"""Tables of the plan's screen that other sections have, by the beginning of their titles."""


def _limits(data: ReportData) -> Section:
    rows = data.content["limits"]
    tables = [limits.table(rows, [plans.word(row) for row in rows])] if rows else []
    more = data.screen.all_tables(full=True)
    flights = flight.tables(data.plan.flown)
    tables += [one for one in more if not one.title.startswith(SHOWN_ELSEWHERE) and one not in flights]
    return Section(tables=tables, notes=_notes(data))


def _notes(data: ReportData) -> list[str]:
    """Return the notes of the plan's screen that no other section has."""
    # The sentences on each limit name the missing keys.
    elsewhere = {*limits.missing_keys(data.content["limits"])}
    elsewhere |= {*CAUTIONS, *MORE_CAUTIONS, *_hazards(data), *flight.notes(data.launcher, data.plan.flown)}
    return [note for note in data.screen.all_notes(full=True) if note not in elsewhere]


def _hazards(data: ReportData) -> list[str]:
    return [] if data.plan.best is None else flight.hazard_notes(data.launcher, data.plan.best.throw)


def _rate(data: ReportData) -> Section:
    """Return spin-up, steady throws and warm windings; empty where drives or supply are not known."""
    found = data.duty
    if found is None:
        return Section()
    content, lead, steady = drives.summary(data.launcher, found), "", found.steady
    if steady is not None:
        lead = (
            f"At {digits(float(steady.rate))} a second throws settle at {drives.leaves(data.launcher, steady)},"
            f" {drives.against_first(float(steady.loss))}; the supply gives"
            f" {digits(float(steady.average_power))} W on average."
        )
        if steady.throws_per_charge is not None:
            lead += f" A full charge lasts for about {about(float(steady.throws_per_charge))} throws."
    return Section(lead=lead, tables=drives.tables(content), notes=drives.notes(content))


def _flight(data: ReportData) -> Section:
    return Section(tables=flight.tables(data.plan.flown), notes=flight.notes(data.launcher, data.plan.flown))


def _measured(data: ReportData) -> Section:
    """Return the fit to measured throws; empty without throws."""
    if data.learned is None:
        return Section()
    screen = fits.answer(data.learned, data.configuration.quantities, data.source).screen or Screen("")
    return Section(
        lead=screen.headline, tables=screen.all_tables(full=True), notes=screen.all_notes(full=True),
        more=_not_pinned_down(data.learned.fit),
    )  # fmt: skip


def _not_pinned_down(done: Fit) -> str:
    """Return how many parameters the throws tell little of; "" for none, and where the intervals are not reliable."""
    unknown = sum(not one.identified for one in done.parameters)
    if not unknown or not done.posterior.trusted:
        return ""
    which = "One parameter is" if unknown == 1 else f"{unknown} parameters are"
    return f"{which} not pinned down by these throws: they removed less than {percent(LEAST_TOLD, 0)} of the doubt."


def _next(data: ReportData, shown: Sequence[str]) -> Section:
    """Return the throws to make next, without the notes that the fit above shows already."""
    if data.suggested is None:
        return Section()
    screen = bench.next_answer(data.suggested, data.source).screen or Screen("")
    notes = [note for note in screen.all_notes(full=True) if note not in shown]
    return Section(lead=screen.headline, tables=screen.all_tables(full=True), notes=notes)


def _cautions(data: ReportData, hidden: bool) -> Section:
    cautions = [text.removeprefix("Before you build: ") for text in (*CAUTIONS, *MORE_CAUTIONS)]
    cautions = [text[0].upper() + text[1:] for text in cautions]
    settings = data.settings
    if hidden or settings is None:
        return Section(notes=cautions)
    wheels = flight.wheel_hazards(data.launcher, settings.throw)
    return Section(
        lead=" ".join(_hazards(data)), tables=[wheels] if wheels.columns else [], notes=cautions, more=flight.GUARD,
    )  # fmt: skip


def _provenance(data: ReportData) -> Sequence[Fact]:
    facts = [
        Fact("stager", __version__), Fact("configuration", data.configuration.path.name),
        Fact("SHA-256", data.source.config_sha256), Fact("seed", str(data.source.seed)),
    ]  # fmt: skip
    if data.learned is not None:
        throws = data.learned.fit.throws
        facts.append(Fact("measured throws", f"{Path(throws.source).name}, {len(throws)}"))
    return facts
