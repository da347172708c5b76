"""Commands about a design: `stager throw`, `check`, `sweep`, `motor`, `plan` and `worth`."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import (
    Build,
    Config,
    Dask,
    Draws,
    Figures,
    Force,
    Resume,
    Seconds,
    Speeds,
    Throws,
    Tls,
    check_outputs,
    progress,
    to_stdout,
)
from stager.cli.session import Session
from stager.errors import InputError
from stager.report.answer import Answer


def throw(session: Session, config: Config, speed: Speeds) -> Answer:
    """Simulate one throw through all stages."""
    loaded = session.load(config)
    from stager.report import throw as report

    done = loaded.simulate(*speed)
    flown = loaded.flown(done, seed=session.seed)
    return report.answer(loaded.scenario.launcher, done, loaded.source(session.seed), flown)


SettingsTable = Annotated[
    Path | None,
    typer.Option("--settings", metavar="TABLE", help="Check every row of a table (CSV, heads as for throws)."),
]
Results = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="RESULTS", help="Write that table with exit speed and verdict in each row."),
]
TABLE_EXAMPLE = "stager check CONFIG --settings TABLE.csv -o RESULTS.csv"


def check(
    session: Session, config: Config, speed: Speeds, settings: SettingsTable = None, output: Results = None,
    force: Force = False,
) -> Answer:  # fmt: skip
    """Check hardware and set speeds against limits.

    With --settings it checks every row of a table and shows the exit speed, whether all limits are kept, and the limit
    with the least margin.
    """
    loaded = session.load(config)
    if settings is not None:
        if speed:
            raise InputError("and --settings both give the wheel speeds", where="--speed", hint=TABLE_EXAMPLE)
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
        raise InputError(
            "names the file for checked settings, but --settings gives no table", where="-o", hint=TABLE_EXAMPLE
        )
    from stager.constraints import evaluate_limits
    from stager.report import check as report
    from stager.report.throw import note_spin_reached

    design = loaded.design(*speed)
    answer = report.answer(design, evaluate_limits(design, remedies=True), loaded.source(session.seed))
    return note_spin_reached(answer, loaded.scenario.goal)


SWEEP_EXAMPLE = "stager sweep CONFIG THROWS --build A"

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
        raise InputError("names a build, but THROWS is missing", where="build", hint=SWEEP_EXAMPLE)
    table = None if throws is None else loaded.read_throws(throws, build)
    with session.busy("Sweeping"):
        found = loaded.sweep(stage, *speed, throws=table, seed=session.seed)
    answer = report.sweep_answer(
        loaded.scenario.launcher, found, loaded.source(session.seed), found.spread, found.measured, found.recommended,
        scenario=loaded.scenario, fitted=found.fitted, fits=found.fits,
    )  # fmt: skip
    return note_spin_left_out(answer, loaded.scenario.goal)


Rate = Annotated[
    str | None,
    typer.Option("--rate", metavar="RATE", help="Throws per second, as '5 /s'; feed.rate where left out."),
]
Within = Annotated[
    str | None,
    typer.Option(
        "--within", metavar="SHARE",
        help="Greatest loss of exit speed at that rate, as '2 %'; limits.settled_loss or 5 % where left out.",
    ),
]  # fmt: skip


def motor(session: Session, config: Config, speed: Speeds, rate: Rate = None, within: Within = None) -> Answer:
    """Find the smallest motor that throws at a rate, and how long a charge lasts.

    It says what motor each wheel needs at the set speeds, which of the drives of the first stage's drive and
    drive_options is the smallest that is enough in the full simulation, and how many throws a charge of the battery
    gives with its falling voltage, for several numbers of cells.
    """
    loaded = session.load(config)
    with session.busy("Sizing motors"):
        return loaded.size_motors(*speed, rate=rate, loss=within).answer()


Planned = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="PLANNED", help="Write a configuration with the planned speeds."),
]


class Axis(Enum):
    """Quantities for --trade."""

    POWER = "power"
    LENGTH = "length"
    HEAT = "heat"
    COST = "cost"
    MASS = "mass"


Trade = Annotated[Axis | None, typer.Option("--trade", help="Also show the Pareto front of exit speed against this.")]

Robust = Annotated[
    bool, typer.Option("--robust", help="Also find settings with the best 5 % quantile of exit speed over builds.")
]


def plan(
    session: Session,
    config: Config,
    output: Planned = None,
    figures: Figures = None,
    draws: Draws = 400,
    dask: Dask = None,
    dask_tls: Tls = None,
    resume: Resume = None,
    trade: Trade = None,
    robust: Robust = False,
    seconds: Seconds = None,
    force: Force = False,
) -> Answer:
    """Plan the stages: how many, how fast, is one more worth it.

    Also shows the limits that bind and the ladder of stage counts.
    """
    loaded = session.load(config)
    check_outputs(session, [output], loaded.files, resume, force=force)
    from stager.report import plan as report

    session.warn_of_scheduler(dask)
    with progress(session, "Planning", at_once=False) as tell:
        found = loaded.plan(
            seed=session.seed, progress=tell, workers=session.workers, dask=dask, tls=dask_tls, resume=resume,
            draws=draws, trade=None if trade is None else trade.value, robust=robust, seconds=seconds,
        )  # fmt: skip
    if output is not None and found.best is not None:
        loaded.save_plan(found, output, force=force)
    if figures is not None:
        with session.busy("Drawing"):
            loaded.report(plan=found, seed=session.seed).save_figures(figures, force=force)
    scenario, source = loaded.scenario, loaded.source(session.seed)
    answer = report.answer(scenario.launcher, found, source, guessed=scenario.guessed)
    if output is not None and found.best is None and answer.screen is not None:
        notes = [f"Nothing was written to {output}: no design fits.", *answer.screen.notes]
        answer = replace(answer, screen=replace(answer.screen, notes=notes))
    return replace(answer, screen_to_stderr=to_stdout(output) and found.best is not None)


def worth(
    session: Session, config: Config, draws: Draws = 400, dask: Dask = None, dask_tls: Tls = None,
    resume: Resume = None, seconds: Seconds = None,
) -> Answer:  # fmt: skip
    """Show what each further stage adds and costs."""
    loaded = session.load(config)
    check_outputs(session, [], loaded.files, resume)
    from stager.report import plan as report

    session.warn_of_scheduler(dask)
    with progress(session, "Planning", at_once=False) as tell:
        found = loaded.plan(
            seed=session.seed, progress=tell, workers=session.workers, dask=dask, tls=dask_tls, resume=resume,
            draws=draws, seconds=seconds,
        )  # fmt: skip
    return report.worth_answer(found, loaded.source(session.seed), guessed=loaded.scenario.guessed)
