"""`stager sweep`."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import Config
from stager.cli.commands.throw import Speeds
from stager.cli.session import Session
from stager.report.answer import Answer

Stage = Annotated[int, typer.Option("--stage", metavar="K", min=1, help="The stage whose speed is varied.")]


def sweep(session: Session, config: Config, speed: Speeds, stage: Stage = 1) -> Answer:
    """Exit speed of a stage against its wheel speed.

    Stages before it run at --speed, else at their set speed, else at their grip limit less grip_margin.
    """
    from stager import api

    loaded = api.load(config)
    from stager.report import sweep as report

    with session.busy("Sweeping"):
        found = loaded.sweep(stage, *speed, seed=session.seed)
    return report.answer(loaded.scenario.launcher, found, loaded.source(session.seed), found.spread)
