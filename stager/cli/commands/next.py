"""`stager next`."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import Config
from stager.cli.commands.fit import Build, Table
from stager.cli.progress import progress
from stager.cli.session import Session
from stager.report.answer import Answer

Count = Annotated[int, typer.Option("--throws", metavar="N", min=1, max=60, help="How many throws to plan.")]


def next(session: Session, config: Config, throws: Table, count: Count = 6, build: Build = None) -> Answer:
    """What to measure next, or that enough is known."""
    loaded = session.load(config)
    from stager.report import suggest as report
    from stager.report.spin import left_out

    table = loaded.read_throws(throws, build)
    with progress(session, "Weighing measurements") as tell:
        found = loaded.next(table, seed=session.seed, count=count, progress=tell)
    said = report.answer(found, loaded.scenario.launcher, loaded.source(session.seed))
    return left_out(said, loaded.scenario.goal)
