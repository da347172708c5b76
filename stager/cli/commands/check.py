"""`stager check`."""

from __future__ import annotations

from stager.cli.command import Config
from stager.cli.commands.throw import Speeds
from stager.cli.session import Session
from stager.report.answer import Answer


def check(session: Session, config: Config, speed: Speeds) -> Answer:
    """Hardware and set speeds against limits."""
    loaded = session.load(config)
    from stager.constraints import evaluate_limits
    from stager.report import check as report
    from stager.report.throw import compared

    design = loaded.design(*speed)
    said = report.answer(design, evaluate_limits(design, remedies=True), loaded.source(session.seed))
    return compared(said, loaded.scenario.goal)
