"""Documents of a configuration: the report, one page with its figures, and the card of a launcher."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from stager.errors import InputError, NoDesign

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.fit.prediction import Ensemble
    from stager.fit.table import Throws
    from stager.model.arrays import Floats
    from stager.optimise.records import Margin, Plan, Settings
    from stager.optimise.response import Response
    from stager.optimise.robust import FirstThrow
    from stager.physics.rate import Sequence
    from stager.report.card import Card
    from stager.report.figures import Picture
    from stager.report.figures.of_throw import SweepCurve
    from stager.report.page.content import ReportData

THROWS = 12
"""First throws at the feed's rate that are shown."""
THIN = 2
"""Every second point of a sweep is drawn, and of these every second for a band: many stages still make a light page."""
SUGGESTED = 6
"""Throws that are suggested."""

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Report:
    """A page and its figures; a notebook shows the page."""

    data: ReportData

    @property
    def plan(self) -> Plan:
        """The plan of the report."""
        return self.data.plan

    def html(self) -> str:
        """Return the self-contained page, equal for equal input."""
        from stager.report.page import page

        return page(self.data)

    def save(self, path: str | Path, *, force: bool = False) -> None:
        """Write the page, whole or not at all. force: replace a file that this program did not write.

        Raises InputError where that is not possible.
        """
        from stager.files import write_whole

        write_whole(Path(path), self.html(), force=force)

    def pictures(self) -> list[Picture]:
        """Return every picture of the page."""
        from stager.report.page import figures

        return figures(self.data)

    def save_figures(self, directory: str | Path, *, force: bool = False) -> list[Path]:
        """Write every picture as SVG and PNG to a directory. force: replace files that this program did not write.

        Raises InputError where that is not possible.
        """
        return [path for picture in self.pictures() for path in picture.save(directory, force=force)]

    def _repr_html_(self) -> str:
        import html

        return f'<iframe srcdoc="{html.escape(self.html())}" width="100%" height="900" title="Report"></iframe>'


def gather(
    loaded: Loaded, throws: Throws | None, plan: Plan | None, seed: int, progress: Progress | None = None,
    workers: int | None = 1,
) -> ReportData:  # fmt: skip
    """Return plan, curves, throws at the rate, tables for the sliders and, with measured throws, the fit to them.

    With throws that the model fits, all else is of the fitted launcher.
    """
    from stager.api import fitting as learning
    from stager.fit.prediction import fitted_scenario
    from stager.report.page.content import ReportData

    tell = progress or (lambda share: None)
    learned = suggested = None
    if throws is not None:
        if plan is not None:
            raise InputError("a plan from before the fit cannot be shown with throws", where="plan",
                             hint="leave the plan out: the report plans the fitted launcher")  # fmt: skip
        learned = loaded.fit(throws, seed=seed)
        suggested = learning.suggest(loaded.scenario, throws, seed, SUGGESTED, None, learned)
        if learned.fit.adequate:
            loaded = replace(loaded, scenario=fitted_scenario(learned.fit))
    begun = 0.0 if throws is None else 0.3
    tell(begun)
    found = plan
    if found is None:
        found = loaded.plan(progress=lambda share: tell(begun + (0.6 - begun) * share), workers=workers)
    tell(0.6)
    data = ReportData(
        configuration=loaded.configuration, scenario=loaded.scenario, source=loaded.source(seed), plan=found,
        curves=() if found.best is None else _curves(loaded, found.best, throws, tell),
        sequence=None if found.best is None else first_throws(found.best), learned=learned, suggested=suggested,
    )  # fmt: skip
    data = data if data.contradictions else replace(data, response=_response(loaded, data))
    tell(1.0)
    return data


def _response(loaded: Loaded, data: ReportData) -> Response | None:
    """Return the tables of the page's sliders."""
    from stager.optimise.response import respond

    best = data.settings
    if best is None:
        return None
    # Grip limits are those of the leading wheels.
    grip_limit = best.grip_limit * best.wheel_speed / best.lead
    return respond(best.design.launcher, loaded.scenario.limit_values, best.wheel_speed, best.wheel_speed_b,
                   grip_limit=grip_limit)  # fmt: skip


def first_throws(best: Settings) -> Sequence | None:
    """Return the first throws at the feed's rate; None without rate, drives or supply, or where one jams."""
    from stager.physics.rate import sequence

    settled = best.design.settled
    if settled is None or best.count == 0 or not bool(settled.converged):
        return None
    return sequence(settled.cycle, THROWS)


def _curves(loaded: Loaded, best: Settings, throws: Throws | None, tell: Progress) -> tuple[SweepCurve, ...]:
    from stager.fit.prediction import ensemble_of

    # Draws are of the parts as configured: no band where a catalogue chose others.
    own = best.design.launcher.template == loaded.scenario.launcher.template
    ensemble = ensemble_of(loaded.scenario) if own and loaded.scenario.uncertain else None
    made = []
    for k in range(best.count):
        made.append(_curve(loaded, best, k, ensemble, throws))
        tell(0.6 + 0.3 * (k + 1) / best.count)
    return tuple(made)


def _curve(loaded: Loaded, best: Settings, k: int, ensemble: Ensemble | None, throws: Throws | None) -> SweepCurve:
    from stager.fit.prediction import band, behind, finder, limit_span
    from stager.optimise.spin import way_of
    from stager.optimise.sweep import sweep
    from stager.report.figures.of_throw import SweepCurve

    part = best.throw.stages
    before_a, before_b = part.wheel_speed_a[:k], part.wheel_speed_b[:k]
    chosen = replace(loaded.scenario, launcher=best.design.launcher)
    way = way_of(chosen.launcher, chosen.limit_values, chosen.goal.spin)
    swept = sweep(chosen, k, list(zip(before_a.tolist(), before_b.tolist(), strict=True)), way)
    swept = replace(swept, wheel_speed=swept.wheel_speed[::THIN], exit_speed=swept.exit_speed[::THIN])
    setting = float(best.lead[k]), float(part.exit_speed[k])
    # Bands are of wheels that run alike.
    if ensemble is None or chosen.goal.spin:
        return SweepCurve(sweep=swept, setting=setting)
    found = finder(loaded.scenario)(ensemble.launcher, k, behind(ensemble, before_a, before_b))
    return SweepCurve(
        sweep=swept, setting=setting, grip_limit=limit_span(found),
        band=band(ensemble, k, before_a, before_b, swept.wheel_speed[::THIN]),
        measured=None if throws is None else _near(loaded, throws, before_a, before_b),
    )  # fmt: skip


def _near(loaded: Loaded, throws: Throws, before_a: Floats, before_b: Floats) -> Floats:
    """Return wheel and exit speed [m/s], (throws, 2), of throws with earlier stages at about these speeds [m/s]."""
    from stager.fit.prediction import observations

    found = observations(loaded.scenario, throws, before_a.size)
    return found.drawn(before_a, before_b)


EPOCH = "SOURCE_DATE_EPOCH"
"""Environment variable with the date for repeatable files [s since 1970]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardResult:
    """A card and what it was made from.

    planned: the speeds were planned, not read from the configuration; refusal: why the settings must not be pinned up,
    "" where they may.
    """

    card: Card
    settings: Settings
    first_throws: tuple[FirstThrow, ...]
    margin: Margin | None
    planned: bool
    refusal: str = ""

    def html(self) -> str:
        """Return the sheet as an HTML document."""
        from stager.report.card import html

        return html(self.card)

    def pdf(self) -> bytes:
        """Return the sheet as a PDF document."""
        from stager.report.card import pdf

        return pdf(self.card)

    def save(self, path: str | Path, *, force: bool = False) -> None:
        """Write the card as HTML, or PDF where the name ends in .pdf. force: replace a file not written by stager.

        Raises InputError where that is not possible, or the settings must not be pinned up.
        """
        if self.refusal:
            raise InputError(self.refusal, where=str(path), hint="stager check tells what helps")
        from stager.files import write_all

        target = Path(path)
        content = self.pdf() if target.suffix.lower() == ".pdf" else self.html().encode()
        write_all({target: content}, force=force)


def make_card(
    loaded: Loaded, plan: Plan | None, seed: int, progress: Progress | None, workers: int | None
) -> CardResult:
    """Return the card of `plan`, without it of the set speeds in [[stages]], else of a plan made here.

    Raises NoDesign where no design fits.
    """
    import numpy as np

    from stager.optimise.robust import enough, first_throws, margin_draws, margin_of
    from stager.optimise.settable import as_shown
    from stager.report.card import build_card, refusal

    best, margin, planned = None, None, True
    if plan is None and has_set_speeds(loaded):
        best, planned = as_shown(loaded.scenario, _as_set(loaded)), False
        draws = margin_draws(loaded.scenario)
        margin = None if draws is None else margin_of(loaded.scenario, draws, best)
    else:
        found = loaded.plan(seed=seed, progress=progress, workers=workers) if plan is None else plan
        best, margin = found.best, found.margin
        if best is None or best.count == 0:
            where = str(loaded.configuration.path)
            message = "no design fits, so there is nothing to set"
            if best is not None:
                message = "no stage is needed, so there is nothing to set"
            raise NoDesign(message, where=where, hint=f"stager plan {where} tells why")
    judged = planned and best.feasible and (margin is None or enough(margin))
    throws = first_throws(loaded.scenario, best, np.random.default_rng(seed), judged=judged)
    name = loaded.configuration.path.name
    card = build_card(
        loaded.scenario, best, throws, loaded.source(seed), origin="as planned" if planned else f"as set in {name}",
        file=name, day=today(), margin=margin,
    )  # fmt: skip
    return CardResult(
        card=card, settings=best, first_throws=throws, margin=margin, planned=planned,
        refusal=refusal(best),
    )  # fmt: skip


def has_set_speeds(loaded: Loaded) -> bool:
    """Return whether every entry of [[stages]] has a speed of its own, as `plan -o` writes them."""
    stages = loaded.configuration.raw.get("stages", [])
    return bool(stages) and all("speed" in stage for stage in stages)


def today() -> str:
    """Return the date as YYYY-MM-DD, that of SOURCE_DATE_EPOCH where it is set."""
    given = os.environ.get(EPOCH, "")
    now = datetime.fromtimestamp(int(given), UTC) if given.isdigit() else datetime.now().astimezone()
    return f"{now:%Y-%m-%d}"


def _as_set(loaded: Loaded) -> Settings:
    """Return the set speeds with the verdict of every limit."""
    import numpy as np

    from stager.optimise.judge import verdicts
    from stager.optimise.records import Settings
    from stager.physics.barrel import length

    scenario, speeds = loaded.scenario, loaded.speeds()
    design = loaded.design()
    return Settings(
        wheel_speed=np.asarray(speeds.side_a, dtype=np.float64),
        wheel_speed_b=None if speeds.side_b is None else np.asarray(speeds.side_b, dtype=np.float64),
        design=design, exit_speed=float(design.throw.exit_speed), verdicts=verdicts(design),
        length=float(length(scenario.launcher, speeds.side_a.size)),
    )  # fmt: skip
