"""`stager card`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Config, Force
from stager.cli.files import check_outputs, to_stdout
from stager.cli.progress import progress
from stager.cli.session import Session
from stager.errors import InputError
from stager.report.answer import Answer

Sheet = Annotated[
    Path, typer.Option("-o", "--output", metavar="CARD", help="The sheet: a file that ends in .html or .pdf.")
]


def card(session: Session, config: Config, output: Sheet = Path("card.html"), force: Force = False) -> Answer:
    """One sheet to pin up: settings, first throws, limits, cautions.

    The speeds are those of [[stages]], as plan -o writes them; where they are not all set, they are planned first.
    """
    loaded = session.load(config)
    from stager.report.card.answer import answer

    kind = output.suffix.lower()
    if not to_stdout(output) and kind not in (".html", ".htm", ".pdf"):
        raise InputError(
            f"cannot write a card {kind or 'without an ending'}", where=str(output), hint="-o card.html, -o card.pdf"
        )
    check_outputs(session, [output], loaded.files, force=force)
    with progress(session, "Planning", at_once=False) as tell:
        made = loaded.card(seed=session.seed, progress=tell, workers=session.workers)
    if not made.refusal:
        made.save(output, force=force)
    told = answer(
        made.card, made.settings, made.first_throws, made.margin, output, loaded.source(session.seed),
        planned=made.planned, refusal=made.refusal,
    )  # fmt: skip
    return replace(told, aside=to_stdout(output) and not made.refusal)
