"""What is said of files that were written: configuration, page, card, plate."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from stager.constraints import not_judged
from stager.optimise.first_throws import FirstThrow
from stager.optimise.records import Margin, Settings
from stager.physics.mechanics import translation_energy
from stager.physics.muzzle import outlet_speed
from stager.report import limits
from stager.report import throw as throws
from stager.report.answer import PROVENANCE, Answer, Column, Provenance, Screen, Table, document
from stager.report.card.content import Card, first_table
from stager.report.numbers import digits, listing, plural
from stager.report.page.data import ReportData
from stager.report.plate import Plate
from stager.version import __version__


def new_answer(written: Sequence[str]) -> Answer:
    """Names of the files written; the first one is the configuration, the second the table of throws."""
    notes = (
        f"Next: stager plan {written[0]}",
        "Stiffness, friction and creep in it are guesses: put in what you know, then measure some throws:"
        f" stager bench {written[0]} {written[1]}",
    )
    return Answer(
        Screen(f"Wrote {listing(list(written))}.", notes=notes),
        {"written": list(written), "stager_version": __version__},
    )


def plate_answer(plate: Plate, path: Path, source: Provenance) -> Answer:
    """Where the drawing is, its holes and parts."""
    holes = Table(
        "Holes, from the front of the first wheel and the barrel's centre line",
        (Column("hole", words=True), Column("x", "mm"), Column("y", "mm"), Column("diameter", "mm")),
        tuple((hole.name, f"{hole.x:.2f}", f"{hole.y:.2f}", f"{hole.diameter:.2f}") for hole in plate.holes),
    )
    parts = Table(
        "Parts",
        (Column("count"), Column("part", words=True), Column("mass of one", "g"), Column("cost of one")),
        tuple((str(part.count), part.name, digits(part.mass), digits(part.cost)) for part in plate.parts),
    )
    size = f"{plate.high[0] - plate.low[0]:.1f} mm x {plate.high[1] - plate.low[1]:.1f} mm"
    content = {
        "drawing": str(path),
        "width_m": (plate.high[0] - plate.low[0]) / 1000, "height_m": (plate.high[1] - plate.low[1]) / 1000,
        "holes": [
            {"name": hole.name, "x_m": hole.x / 1000, "y_m": hole.y / 1000, "diameter_m": hole.diameter / 1000}
            for hole in plate.holes
        ],
        "parts": [
            {"count": part.count, "name": part.name, "mass_kg": None if part.mass is None else part.mass / 1000,
             "cost": part.cost}
            for part in plate.parts
        ],
    }  # fmt: skip
    return Answer(
        Screen(f"The side plate, {size}, 1:1, is {path}.", (holes,), plate.notes, more_tables=(parts,)),
        document(content, source),
    )


def page_answer(data: ReportData, page: Path, figures: Sequence[Path] = ()) -> Answer:
    """The plan's answer in short, and where the page is; "no" where the plan says no."""
    told = data.answer
    headline = "" if told.screen is None else told.screen.headline
    notes = [f"The page is {page}.", *_drawn(figures)]
    content = {
        "page": str(page), "figures": [str(path) for path in figures],
        "plan": {key: value for key, value in data.content.items() if key not in PROVENANCE},
    }  # fmt: skip
    verdict = "" if told.screen is None else told.screen.verdict
    return Answer(Screen(headline, notes=notes, verdict=verdict), document(content, data.source), yes=told.yes)


def _drawn(figures: Sequence[Path]) -> list[str]:
    return [f"{plural(len(figures), 'figure file')} in {figures[0].parent}."] if figures else []


def card_answer(
    card: Card, best: Settings, first: Sequence[FirstThrow], margin: Margin | None, path: Path, source: Provenance, *,
    planned: bool, refusal: str = "",
) -> Answer:  # fmt: skip
    """Return where the card is and what it says; "no" where its settings break a limit, or jam."""
    launcher = best.design.launcher
    leaves = float(outlet_speed(launcher, best.exit_speed))
    content = {
        "card": None if refusal else str(path), "planned": planned, "stages": throws.stages(launcher, best.throw),
        "exit_speed_m_s": best.exit_speed, "outlet_speed_m_s": leaves,
        "exit_energy_J": float(translation_energy(leaves, launcher.projectile)),
        "limits": limits.rows(best.verdicts, not_judged(best.design)),
        "builds_kept_fraction": None if margin is None else margin.kept,
        "first_throws": [
            {
                "speed_fraction": one.share, "wheel_speed_m_s": one.wheel_speed, "wheel_speed_b_m_s": one.wheel_speed_b,
                "outlet_speed_m_s": one.exit_speed,
                "interval_m_s": None if one.low is None else [one.low, one.high],
            }
            for one in first
        ],
    }  # fmt: skip
    if refusal:
        hint = "Nothing was written. stager check tells what helps."
        return Answer(Screen(refusal, [card.settings, card.limits], [hint]), document(content, source), yes=False)
    tables = [card.settings, *([first_table(best, first)] if first else [])]
    screen = Screen(
        card.headline, tables, [card.first_note, *card.limit_notes, f"The card is {path}."], verdict=card.alarm,
        more_tables=[card.limits],
    )  # fmt: skip
    return Answer(screen, document(content, source), yes=not card.alarm)
