"""Commands that write documents or explain: `stager report`, `draw`, `card`, `explain` and `schema`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Build, Config, Figures, Force, Throws, check_outputs, progress, to_stdout
from stager.cli.session import Session
from stager.errors import InputError, NoDesign
from stager.report.answer import Answer

REPORT_EXAMPLE = "stager report CONFIG THROWS --build A"

Page = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="PAGE", help="The page; CONFIG's name with .html where left out."),
]


def report(
    session: Session, config: Config, throws: Throws = None, output: Page = None, figures: Figures = None,
    build: Build = None, force: Force = False,
) -> Answer:  # fmt: skip
    """Write one HTML page with all results.

    It has verdict, settings card, side view, curves, ladder, limits, energy and heat. With THROWS it has the fit to
    them too, and the plan is of the fitted launcher. The page is a single file and needs no network.
    """
    loaded = session.load(config)
    if build is not None and throws is None:
        raise InputError("names a build, but THROWS is missing", where="build", hint=REPORT_EXAMPLE)
    table = None if throws is None else loaded.read_throws(throws, build)
    page = Path(config.with_suffix(".html").name) if output is None else output
    from stager.report.page.content import page_answer

    check_outputs(session, [page], [*loaded.files, *([] if throws is None else [throws])], force=force)
    with progress(session, "Writing the report", at_once=False) as tell:
        made = loaded.report(table, seed=session.seed, progress=tell, workers=session.workers)
        made.save(page, force=force)
        drawn = [] if figures is None else made.save_figures(figures, force=force)
    return replace(page_answer(made.data, page, drawn), screen_to_stderr=to_stdout(page))


Drawing = Annotated[
    Path, typer.Option("-o", "--output", metavar="PLATE", help="The drawing: a file that ends in .dxf or .svg.")
]
Drawn = Annotated[
    int | None,
    typer.Option(
        "--stages", metavar="N", min=1, help="Draw N stages; those in [[stages]], or one, where left out.",
        show_default=False,
    ),
]  # fmt: skip


def draw(
    session: Session, config: Config, output: Drawing = Path("plate.svg"), stages: Drawn = None, force: Force = False
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


Term = Annotated[
    list[str] | None,
    typer.Argument(help="A term, a limit or a key, as 'grip limit' or stage.crush; all are listed without it."),
]


def explain(session: Session, term: Term = None) -> Answer:
    """Explain a term, a limit or a key in plain words."""
    from stager.report import explain as report

    return report.answer(" ".join(term or ()), session.seed)


def schema(session: Session) -> Answer:
    """Print the JSON Schema of the configuration."""
    from stager import config

    return Answer(None, config.schema_json())
