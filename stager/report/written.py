"""A written page, as screen and document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from stager.report.answer import Answer
from stager.report.data import ReportData
from stager.report.digits import plural
from stager.report.document import PROVENANCE, document
from stager.report.table import Screen


def answer(data: ReportData, page: Path, figures: Sequence[Path] = ()) -> Answer:
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
