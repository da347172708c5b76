"""What `new` has written."""

from __future__ import annotations

from collections.abc import Sequence

from stager.report.answer import Answer
from stager.report.digits import listing
from stager.report.table import Screen
from stager.version import __version__


def answer(written: Sequence[str]) -> Answer:
    """Names of the files written; the first one is the configuration."""
    return Answer(
        Screen(
            f"Wrote {listing(list(written))}.",
            notes=(f"Next: put your numbers in, then run stager plan {written[0]}",),
        ),
        {"written": list(written), "stager_version": __version__},
    )
