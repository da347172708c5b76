"""`stager compare`."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import Config
from stager.cli.commands.fit import Table
from stager.cli.session import Session
from stager.report.answer import Answer

Builds = Annotated[
    tuple[str, str],
    typer.Option("--builds", metavar="A B", show_default=False, help="Two names of the table's column build."),
]


def compare(session: Session, config: Config, throws: Table, builds: Builds) -> Answer:
    """Are two builds different, by how much, and what explains it."""
    loaded = session.load(config)
    from stager.report import compare as report

    table = loaded.read_throws(throws)
    with session.busy("Comparing"):
        found = loaded.compare(table, builds, seed=session.seed)
    return report.answer(found, table, loaded.scenario.launcher, loaded.source(session.seed))
