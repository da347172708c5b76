"""Throwing at the rate, and heat."""

from __future__ import annotations

from stager.physics.rate import Settled
from stager.report.digits import digits, percent, speed
from stager.report.dossier import Dossier
from stager.report.page import gallery
from stager.report.page.blocks import figures, section, table
from stager.report.page.html import Markup, tag
from stager.report.table import Column, Table


def rate(dossier: Dossier) -> Markup:
    """Settled throws and warm windings; nothing where neither is known."""
    best = dossier.plan.best
    settled = None if best is None else best.design.settled
    drawn = figures([gallery.rate(dossier), gallery.heat(dossier)])
    if settled is None:
        return section("rate", "Throw after throw", drawn)
    return section(
        "rate", "Throw after throw", tag("p", _sentence(settled), class_="lead"), drawn, table(_table(settled))
    )


def _sentence(settled: Settled) -> str:
    said = (
        f"At {float(settled.rate):g} throws a second they settle at {speed(float(settled.throw.exit_speed))} m/s,"
        f" {percent(float(settled.loss))} below the first; the supply gives {digits(float(settled.average_power))} W"
        " on average."
    )
    charge = settled.throws_per_charge
    return said if charge is None else f"{said} A full charge is good for about {float(charge):.0f} throws."


def _table(settled: Settled) -> Table:
    """A row each column of equal driven wheels, in the settled state."""
    train, books = settled.rhythm.train, settled.books
    columns = (
        Column("stage"), Column("wheels"), Column("loses in a throw", "%"), Column("lacks at the next", "%"),
        Column("gives to a throw", "J"), Column("copper heat", "J"), Column("friction and air", "J"),
    )  # fmt: skip
    rows = tuple(
        (
            str(train.stage[k] + 1), f"{float(count):.0f}", f"{100 * float(settled.droop[k]):.2f}",
            f"{100 * float(settled.missing[k]):.2f}", digits(float(count * books.wheel_work[k])),
            digits(float(count * books.copper[k])), digits(float(count * (books.no_load[k] + books.windage[k]))),
        )
        for k, count in enumerate(train.count + 0 * settled.droop)
    )  # fmt: skip
    return Table("Wheels in the settled state, energies of one cycle", columns, rows)
