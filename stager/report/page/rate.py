"""Throwing at the rate, and heat."""

from __future__ import annotations

from stager.constraints.duty import Duty, duty
from stager.report import duty as duties
from stager.report.digits import about, digits, small_percent, speed
from stager.report.dossier import Dossier
from stager.report.page import gallery
from stager.report.page.blocks import figures, paragraphs, section, table
from stager.report.page.html import Markup, tag


def rate(dossier: Dossier) -> Markup:
    """Spin-up, settled throws and warm windings; nothing where drives or supply are not known."""
    best = dossier.plan.best
    found = None if best is None or best.count == 0 else duty(best.design)
    drawn = figures([gallery.rate(dossier), gallery.heat(dossier)])
    if found is None:
        return section("rate", "Throw after throw", drawn)
    content = duties.summary(found)
    said = _sentence(found)
    return section(
        "rate", "Throw after throw", tag("p", said, class_="lead") if said else None, drawn,
        *(table(item) for item in duties.tables(content)), paragraphs(duties.notes(content), "note"),
    )  # fmt: skip


def _sentence(found: Duty) -> str:
    settled = found.settled
    if settled is None or bool(settled.throw.jammed):
        return ""
    said = (
        f"At {digits(float(settled.rate))} a second throws settle at {speed(float(settled.throw.exit_speed))} m/s,"
        f" {small_percent(float(settled.loss))} below the first; the supply gives"
        f" {digits(float(settled.average_power))} W on average."
    )
    charge = settled.throws_per_charge
    return said if charge is None else f"{said} A full charge is good for about {about(float(charge))} throws."
