"""The page as a whole."""

from __future__ import annotations

from importlib.resources import files

from stager.report import flight, safety
from stager.report import plan as plans
from stager.report.cautions import CAUTIONS
from stager.report.digits import percent
from stager.report.dossier import Dossier
from stager.report.page import answer, gallery
from stager.report.page.blocks import figure, figures, paragraphs, section, table
from stager.report.page.card import card
from stager.report.page.html import Markup, escaped, join, tag
from stager.report.page.inputs import inputs
from stager.report.page.measured import measured, notice
from stager.report.page.rate import rate
from stager.report.table import Screen
from stager.version import __version__

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
ELSEWHERE = frozenset(("Settings", "Limits", "Ladder"))
"""Tables of the plan's screen that the card and the figures hold already."""


def page(dossier: Dossier) -> str:
    """One HTML file that needs nothing else: no script, no network. Equal for equal input."""
    body = join(_sheet(dossier), tag("main", *_sections(dossier)), _provenance(dossier))
    title = f"{dossier.scenario.title or dossier.configuration.path.name}: launcher plan"
    head = tag(
        "head", tag("meta", charset="utf-8"), tag("meta", http_equiv="Content-Security-Policy", content=POLICY),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"), tag("meta", name="generator", content="stager"),
        tag("title", title), tag("link", rel="icon", href="data:,"), tag("style", _style()),
    )  # fmt: skip
    return f"<!DOCTYPE html>\n{tag('html', head, tag('body', body), lang='en')}\n"


def _style() -> Markup:
    return Markup((files("stager.report.page") / "page.css").read_text(encoding="utf-8"))


def _screen(dossier: Dossier) -> Screen:
    screen = plans.answer(dossier.launcher, dossier.plan, dossier.source).screen
    if screen is None:
        raise ValueError("a plan has a screen")
    return screen


def _sheet(dossier: Dossier) -> Markup:
    """What is printed first: answer, settings card, side view."""
    scenario, plan, best = dossier.scenario, dossier.plan, dossier.plan.best
    content = plans.summary(dossier.launcher, plan)
    settled = None if best is None or best.design.settled is None else float(best.design.settled.throw.exit_speed)
    title = scenario.title or dossier.configuration.path.name
    shown = join(answer.head(title, _screen(dossier), content, settled), notice(dossier))
    if best is None or best.count == 0:
        return tag("div", shown, class_="sheet")
    side = gallery.launcher(dossier)
    return tag(
        "div", shown, card(title, dossier.launcher, best, plan.recommended_stages, dossier.source),
        None if side is None else figure(side), class_="sheet",
    )  # fmt: skip


def _sections(dossier: Dossier) -> list[Markup]:
    found = dossier.plan.best is not None
    more = [table(item) for item in _screen(dossier).tables if not found or item.title not in ELSEWHERE]
    return [
        section("relax", "What comes nearest", *more) if not found else Markup(),
        section("worth", "Is one more stage worth it?", _worth(dossier),
                figures([gallery.ladder(dossier), gallery.barrel(dossier)])),
        section("speeds", "Why these speeds", _why(dossier), figures(gallery.curves(dossier))),
        section("limits", "What holds it back", figures([gallery.limits(dossier), gallery.energy(dossier)]),
                *(more if found else []), paragraphs(_notes(dossier), "note")),
        rate(dossier),
        section("flight", "Where it lands", paragraphs(flight.notes(dossier.launcher, dossier.plan.flown)),
                figures([gallery.flight(dossier)]), *(table(item) for item in flight.tables(dossier.plan.flown))),
        measured(dossier),
        section("inputs", "Inputs as read", *(table(item) for item in inputs(dossier.configuration))),
        section("cautions", "Before you build", paragraphs([text.removeprefix("Before you build: ") for text in
                CAUTIONS], "caution"), paragraphs(_hurts(dossier)), _wheels(dossier)),
    ]  # fmt: skip


def _worth(dossier: Dossier) -> Markup:
    if len(dossier.plan.ladder) < 2:
        return Markup()
    asked = f"A stage pays that adds at least {percent(dossier.scenario.goal.worthwhile)} of exit speed."
    last = dossier.plan.ladder[-1]
    chance = last.probability_worthwhile
    if chance is None:
        return tag("p", asked)
    return tag("p", f"{asked} That stage {last.stages} does: {percent(chance, 0)} of the launchers that the"
               " uncertainties allow.")  # fmt: skip


def _hurts(dossier: Dossier) -> list[str]:
    best = dossier.plan.best
    return [] if best is None else safety.notes(dossier.launcher, best.throw)


def _notes(dossier: Dossier) -> list[str]:
    """What the plan's screen says but for cautions, which have a place of their own."""
    elsewhere = {*CAUTIONS, *_hurts(dossier), *flight.notes(dossier.launcher, dossier.plan.flown)}
    return [note for note in _screen(dossier).notes if note not in elsewhere]


def _wheels(dossier: Dossier) -> Markup:
    best = dossier.plan.best
    if best is None or best.count == 0:
        return Markup()
    found = safety.wheels(dossier.launcher, best.throw)
    return join(table(found), tag("p", safety.GUARD, class_="note")) if found.columns else Markup()


def _why(dossier: Dossier) -> Markup:
    if not dossier.curves:
        return Markup()
    return tag(
        "p", "A wheel pulls as long as its tyre does not slip too fast. Past the grip limit it turns faster and throws"
        " slower. That is why one wheel cannot do it all, and why the next stage starts where this one ends.",
    )  # fmt: skip


def _provenance(dossier: Dossier) -> Markup:
    facts = [
        ("stager", __version__), ("configuration", dossier.configuration.path.name),
        ("SHA-256", dossier.source.config_sha256), ("seed", str(dossier.source.seed)),
    ]  # fmt: skip
    if dossier.learned is not None:
        throws = dossier.learned.fit.throws
        facts.append(("measured throws", f"{throws.source.rpartition('/')[2]}, {len(throws)}"))
    rows = (tag("div", tag("dt", name), tag("dd", escaped(value))) for name, value in facts)
    return tag("footer", tag("h2", "Where this comes from"), tag("dl", *rows), id="provenance")
