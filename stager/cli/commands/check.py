"""`stager check`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Config, Force
from stager.cli.commands.throw import Speeds
from stager.cli.output import check_outputs, to_stdout
from stager.cli.session import Session
from stager.errors import InputError
from stager.report.answer import Answer

Settings = Annotated[
    Path | None,
    typer.Option("--settings", metavar="TABLE", help="Check every row of a table (CSV, heads as for throws)."),
]
Results = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="RESULTS", help="Write that table with exit speed and verdict in each row."),
]
EXAMPLE = "stager check CONFIG --settings TABLE.csv -o RESULTS.csv"


def check(
    session: Session, config: Config, speed: Speeds, settings: Settings = None, output: Results = None,
    force: Force = False,
) -> Answer:  # fmt: skip
    """Check hardware and set speeds against limits.

    With --settings it checks every row of a table and shows the exit speed, whether all limits are kept, and the limit
    with the least margin.
    """
    loaded = session.load(config)
    if settings is not None:
        if speed:
            raise InputError("and --settings both give the wheel speeds", where="--speed", hint=EXAMPLE)
        check_outputs(session, [output], [*loaded.files, settings], force=force)
        with session.busy("Checking"):
            found = loaded.check_settings(settings)
            answer = found.answer()
        if output is not None:
            from stager.files import write_whole

            write_whole(output, found.csv(), force=force)
            if answer.screen is not None:
                notes = (*answer.screen.notes, f"The results are in {output}.")
                answer = replace(answer, screen=replace(answer.screen, notes=notes))
        return replace(answer, screen_to_stderr=to_stdout(output))
    if output is not None:
        raise InputError("names the file for checked settings, but --settings gives no table", where="-o", hint=EXAMPLE)
    from stager.constraints import evaluate_limits
    from stager.report import check as report
    from stager.report.throw import note_spin_reached

    design = loaded.design(*speed)
    answer = report.answer(design, evaluate_limits(design, remedies=True), loaded.source(session.seed))
    return note_spin_reached(answer, loaded.scenario.goal)
