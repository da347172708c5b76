"""`stager schema`."""

from __future__ import annotations

from stager.cli.session import Session
from stager.report.answer import Answer
from stager.report.table import Screen


def schema(session: Session) -> Answer:
    """JSON Schema of the configuration, for editors."""
    from stager import config
    from stager.report import document

    content = config.schema()
    return Answer(Screen(document.text(content)), content)
