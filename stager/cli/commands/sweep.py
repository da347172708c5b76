"""`stager sweep`."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import Config
from stager.cli.commands.fit import Build
from stager.cli.commands.report import Throws
from stager.cli.commands.throw import Speeds
from stager.cli.session import Session
from stager.errors import InputError
from stager.report.answer import Answer

EXAMPLE = "stager sweep CONFIG THROWS --build A"

Stage = Annotated[int, typer.Option("--stage", metavar="K", help="The stage whose speed is varied.")]


def sweep(
    session: Session, config: Config, speed: Speeds, throws: Throws = None, stage: Stage = 1, build: Build = None
) -> Answer:
    """Show exit speed against the wheel speed of a stage.

    Stages before it run at --speed, else at their set speed, else at their grip limit less grip_margin. With THROWS it
    compares throws that ended with this stage with what the configuration expects of them, and recommends what a fit
    to all of them does.
    """
    loaded = session.load(config)
    from stager.report import predictions as report
    from stager.report.throw import note_spin_left_out

    if build is not None and throws is None:
        raise InputError("names a build, but THROWS is missing", where="build", hint=EXAMPLE)
    table = None if throws is None else loaded.read_throws(throws, build)
    with session.busy("Sweeping"):
        found = loaded.sweep(stage, *speed, throws=table, seed=session.seed)
    answer = report.sweep_answer(
        loaded.scenario.launcher, found, loaded.source(session.seed), found.spread, found.measured, found.recommended,
        fitted=found.fitted,
    )  # fmt: skip
    return note_spin_left_out(answer, loaded.scenario.goal)
