"""`stager schema`."""

from __future__ import annotations

from stager.cli.session import Session
from stager.report.answer import Answer


def schema(session: Session) -> Answer:
    """JSON Schema of the configuration, for editors."""
    from stager import config

    return Answer(None, config.schema_json())
