"""The ladder alone as screen and document."""

from __future__ import annotations

from stager.optimise.records import Plan
from stager.report import ladder
from stager.report.answer import Answer
from stager.report.document import Source, document
from stager.report.spin import at_spin
from stager.report.table import Screen


def answer(plan: Plan, source: Source) -> Answer:
    """What each further stage adds and costs; no design that fits is a "no"."""
    rows = ladder.rows(plan.ladder)
    content = {"ladder": rows, "recommended_stages": plan.recommended_stages, "verdict": plan.verdict}
    pictures = (ladder.picture(rows),) if len(rows) > 1 else ()
    screen = Screen(plan.verdict, (ladder.table(rows),), at_spin(plan), pictures=pictures)
    return Answer(screen, document(content, source), yes=not plan.nothing_fits)
