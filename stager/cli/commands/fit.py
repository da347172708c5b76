"""`stager fit`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Config
from stager.cli.progress import progress
from stager.cli.session import Session
from stager.files import check_place
from stager.report.answer import Answer

Table = Annotated[Path, typer.Argument(help="Table of measured throws (CSV).", show_default=False)]
Build = Annotated[str | None, typer.Option("--build", metavar="NAME", help="Throws of this build alone.")]
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FITTED", help="Write a configuration with the fitted values."),
]
Stages = Annotated[
    int | None,
    typer.Option("--stages", metavar="N", min=1, help="Foretell chains of up to N stages; one more than measured."),
]


def fit(
    session: Session, config: Config, throws: Table, output: Output = None, build: Build = None, stages: Stages = None
) -> Answer:
    """Calibrate with measured throws.

    What the contact really does, what the throws cannot tell, and what the next stage will give.
    """
    loaded = session.load(config)
    from stager.report import fit as report
    from stager.report.spin import left_out

    if output is not None:
        check_place(output)
    table = loaded.read_throws(throws, build)
    with progress(session, "Fitting") as tell:
        found = loaded.fit(table, seed=session.seed, stages=stages, progress=tell)
    written = () if output is None else (output, loaded.save_fit(found.fit, output, seed=session.seed))
    said = report.answer(found, loaded.configuration.quantities, loaded.source(session.seed), written)
    return left_out(said, loaded.scenario.goal)
