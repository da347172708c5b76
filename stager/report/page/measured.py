"""What measured throws tell, and what to measure next."""

from __future__ import annotations

from stager.report import fit, suggest
from stager.report.digits import plural
from stager.report.dossier import Dossier
from stager.report.figures import learned as pictures
from stager.report.figures.picture import Picture
from stager.report.measured import units_of
from stager.report.page.blocks import figures, paragraphs, section, table
from stager.report.page.html import Markup, join, tag


def drawn(dossier: Dossier) -> list[Picture]:
    """Pictures of the fit; none without throws."""
    if dossier.learned is None:
        return []
    found = dossier.learned.fit
    units = units_of(found.parameters, dossier.configuration.quantities)
    made = (pictures.agreement(found), pictures.residuals(found), pictures.told(found, units))
    return [picture for picture in made if picture is not None]


def measured(dossier: Dossier) -> Markup:
    """Fit, residuals, what is not known, what to do next; nothing without throws."""
    if dossier.learned is None:
        return Markup()
    screen = fit.answer(dossier.learned, dossier.configuration.quantities, dossier.source).screen
    if screen is None:
        return Markup()
    unknown = [one for one in dossier.learned.fit.parameters if not one.identified]
    return section(
        "measured", "What the measured throws tell", tag("p", screen.headline, class_="lead"),
        figures(drawn(dossier)), _not_known(len(unknown)), *(table(item) for item in screen.tables),
        paragraphs(list(screen.notes), "note"), _next(dossier),
    )  # fmt: skip


def notice(dossier: Dossier) -> Markup:
    """A warning where the throws put a grip limit elsewhere than the configuration has it."""
    doubts = [(curve.sweep.stage, curve.doubt) for curve in dossier.curves if curve.doubt is not None]
    if not doubts:
        return Markup()
    stage, (low, high) = doubts[0]
    more = f", and elsewhere in {plural(len(doubts) - 1, 'further stage')}" if len(doubts) > 1 else ""
    where = f"{low:.2f} to {high:.2f} m/s in stage {stage}{more}"
    return tag(
        "p", tag("strong", "The measured throws contradict the configuration. "), f"They put the grip limit at {where}."
        " Before you use these settings, let stager fit write a configuration and plan from that.", class_="notice",
    )  # fmt: skip


def _not_known(count: int) -> Markup:
    if not count:
        return Markup()
    said = "One parameter is" if count == 1 else f"{count} parameters are"
    return tag("p", f'{said} not identified by these throws ("known: no"): the value after is little more than the one'
               " before.", class_="note")  # fmt: skip


def _next(dossier: Dossier) -> Markup:
    if dossier.suggested is None:
        return Markup()
    screen = suggest.answer(dossier.suggested, dossier.launcher, dossier.source).screen
    if screen is None:
        return Markup()
    return join(
        tag("h3", "What to measure next"), tag("p", screen.headline, class_="lead"),
        *(table(item) for item in screen.tables), paragraphs(list(screen.notes), "note"),
    )  # fmt: skip
