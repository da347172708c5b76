"""What `new` has written."""

from __future__ import annotations

from collections.abc import Sequence

from stager.report.answer import Answer
from stager.report.digits import listing
from stager.report.table import Screen
from stager.version import __version__


def answer(written: Sequence[str]) -> Answer:
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
