"""`stager draw` and `stager card`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Config, Force
from stager.cli.output import check_outputs, progress, to_stdout
from stager.cli.session import Session
from stager.errors import InputError, NoDesign
from stager.report.answer import Answer

Drawing = Annotated[
    Path, typer.Option("-o", "--output", metavar="PLATE", help="The drawing: a file that ends in .dxf or .svg.")
]
Stages = Annotated[
    int | None,
    typer.Option(
        "--stages", metavar="N", min=1, help="Draw N stages; those in [[stages]], or one, where left out.",
        show_default=False,
    ),
]  # fmt: skip


def draw(
    session: Session, config: Config, output: Drawing = Path("plate.svg"), stages: Stages = None, force: Force = False
) -> Answer:
    """Draw the side plate 1:1, as DXF or SVG.

    The drawing has shaft and motor holes, barrel, wheels, dimensions and a list of parts.
    """
    loaded = session.load(config)
    from stager.files import write_whole
    from stager.report import plate as report

    kind = output.suffix.lower()
    if kind not in (".dxf", ".svg"):
        raise InputError(
            f"cannot draw {kind or 'without an ending'}", where=str(output), hint="-o plate.dxf, -o plate.svg"
        )
    launcher, limits = loaded.scenario.launcher, loaded.scenario.limit_values
    count = stages or max(1, len(launcher.stages))
    if count > max(limits.stages, len(launcher.stages)):
        raise InputError(
            f"must be 1 to {max(limits.stages, len(launcher.stages))}, as limits.stages allows (got {count})",
            where="--stages", hint="limits.stages says how many there may be",
        )  # fmt: skip
    check_outputs(session, [output], loaded.files, force=force)
    plate = report.draw_plate(launcher, count, loaded.configuration.file.title or "")
    drawing = report.svg(plate) if kind == ".svg" else report.dxf(plate)
    write_whole(output, drawing, force=force)
    return replace(report.answer(plate, output, loaded.source(session.seed)), screen_to_stderr=to_stdout(output))


Sheet = Annotated[
    Path, typer.Option("-o", "--output", metavar="CARD", help="The sheet: a file that ends in .html or .pdf.")
]


def card(session: Session, config: Config, output: Sheet = Path("card.html"), force: Force = False) -> Answer:
    """Write the sheet to pin up beside the launcher.

    It has settings, first throws, limits and cautions on one A4 page.

    The speeds are those of [[stages]], as plan -o writes them; where they are not all set, they are planned first.
    """
    loaded = session.load(config)
    from stager.report.card import card_answer, no_card

    kind = output.suffix.lower()
    if not to_stdout(output) and kind not in (".html", ".htm", ".pdf"):
        raise InputError(
            f"cannot write a card {kind or 'without an ending'}", where=str(output), hint="-o card.html, -o card.pdf"
        )
    check_outputs(session, [output], loaded.files, force=force)
    with progress(session, "Planning", at_once=False) as tell:
        try:
            made = loaded.card(seed=session.seed, progress=tell, workers=session.workers)
        except NoDesign as none:
            return no_card(none.message, none.hint, loaded.source(session.seed))
    if not made.refusal:
        made.save(output, force=force)
    answer = card_answer(
        made.card, made.settings, made.first_throws, made.margin, output, loaded.source(session.seed),
        planned=made.planned, refusal=made.refusal,
    )  # fmt: skip
    return replace(answer, screen_to_stderr=to_stdout(output) and not made.refusal)
