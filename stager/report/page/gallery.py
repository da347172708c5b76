"""Which pictures a dossier has."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from stager.physics.muzzle import outlet_speed
from stager.report import ladder as ladders
from stager.report import plan as plans
from stager.report.dossier import Dossier
from stager.report.figures import Picture
from stager.report.figures import barrel as barrels
from stager.report.figures import energy as energies
from stager.report.figures import flight as flights
from stager.report.figures import heat as heats
from stager.report.figures import ladder as rungs
from stager.report.figures import launcher as launchers
from stager.report.figures import limits as margins
from stager.report.figures import rate as rates
from stager.report.figures import sweep as sweeps


def every(dossier: Dossier) -> Iterator[Picture]:
    """All of them, in the page's order."""
    from stager.report.page.measured import drawn

    for found in (launcher, ladder, barrel):
        if (picture := found(dossier)) is not None:
            yield picture
    yield from curves(dossier)
    for found in (limits, energy, rate, heat, flight):
        if (picture := found(dossier)) is not None:
            yield picture
    yield from drawn(dossier)


def _rows(dossier: Dossier) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = plans.summary(dossier.launcher, dossier.plan)["stages"]
    return rows


def launcher(dossier: Dossier) -> Picture | None:
    """The side view."""
    best = dossier.plan.best
    return None if best is None else launchers.picture(dossier.launcher, best.count, _rows(dossier))


def ladder(dossier: Dossier) -> Picture | None:
    """The ladder."""
    return rungs.picture(ladders.rows(dossier.plan.ladder), dossier.plan.recommended_stages)


def barrel(dossier: Dossier) -> Picture | None:
    """Speed along the barrel."""
    return barrels.picture(dossier.launcher, _rows(dossier))


def curves(dossier: Dossier) -> list[Picture]:
    """One each stage."""
    return [sweeps.picture(curve) for curve in dossier.curves]


def limits(dossier: Dossier) -> Picture | None:
    """Margins."""
    rows = plans.summary(dossier.launcher, dossier.plan)["limits"]
    return margins.picture(rows, [plans.word(row) for row in rows])


def energy(dossier: Dossier) -> Picture | None:
    """Where the energy goes."""
    return energies.picture(dossier.launcher, _rows(dossier))


def rate(dossier: Dossier) -> Picture | None:
    """Throw after throw; None without a rate, drives or a supply."""
    best = dossier.plan.best
    settled = None if best is None else best.design.settled
    if settled is None or dossier.sequence is None:
        return None
    return rates.picture(dossier.sequence, float(settled.throw.exit_speed), float(settled.rate))


def flight(dossier: Dossier) -> Picture | None:
    """The flight; None without [flight]."""
    best = dossier.plan.best
    if best is None:
        return None
    leaves = float(outlet_speed(dossier.launcher, best.exit_speed))
    return flights.picture(dossier.launcher, dossier.plan.flown, leaves, float(best.throw.spin))


def heat(dossier: Dossier) -> Picture | None:
    """Windings; None where their thermal data are not known."""
    best = dossier.plan.best
    warm = None if best is None or best.count == 0 else best.design.windings
    if warm is None:
        return None
    session = dossier.launcher.feed.session
    allowed = dossier.scenario.limit_values.winding_temperature
    return heats.picture(warm, allowed, None if session is None else float(session))
