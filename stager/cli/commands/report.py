"""`stager report`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Config, Force
from stager.cli.commands.plan import Figures
from stager.cli.output import check_outputs, progress, to_stdout
from stager.cli.session import Session
from stager.errors import InputError
from stager.report.answer import Answer

EXAMPLE = "stager report CONFIG THROWS --build A"

Build = Annotated[str | None, typer.Option("--build", metavar="NAME", help="Throws of this build alone.")]
Throws = Annotated[Path | None, typer.Argument(help="Table of measured throws (CSV).", show_default=False)]
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
        raise InputError("names a build, but THROWS is missing", where="build", hint=EXAMPLE)
    table = None if throws is None else loaded.read_throws(throws, build)
    page = Path(config.with_suffix(".html").name) if output is None else output
    from stager.report.page.content import page_answer

    check_outputs(session, [page], [*loaded.files, *([] if throws is None else [throws])], force=force)
    with progress(session, "Writing the report", at_once=False) as tell:
        made = loaded.report(table, seed=session.seed, progress=tell, workers=session.workers)
        made.save(page, force=force)
        drawn = [] if figures is None else made.save_figures(figures, force=force)
    return replace(page_answer(made.data, page, drawn), screen_to_stderr=to_stdout(page))
