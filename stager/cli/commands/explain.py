"""`stager explain` and `stager schema`."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.session import Session
from stager.report.answer import Answer

Term = Annotated[
    str | None,
    typer.Argument(help="A term, a limit or a key, as 'grip limit' or stage.crush; all are listed without it."),
]


def explain(session: Session, term: Term = None) -> Answer:
    """Explain a term, a limit or a key in plain words."""
    from stager.report import explain as report

    return report.answer(term, session.seed)


def schema(session: Session) -> Answer:
    """Print the JSON Schema of the configuration."""
    from stager import config

    return Answer(None, config.schema_json())
