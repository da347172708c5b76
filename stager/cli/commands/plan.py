"""`stager plan` and `stager worth`, its ladder alone."""

from __future__ import annotations

from dataclasses import replace
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Config, Dask, Draws, Force, Resume, Seconds, Tls
from stager.cli.output import check_outputs, progress, to_stdout
from stager.cli.session import Session
from stager.report.answer import Answer

Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="PLANNED", help="Write a configuration with the planned speeds."),
]

Figures = Annotated[
    Path | None,
    typer.Option("--figures", metavar="DIR", help="Write the figures as SVG and PNG to a directory."),
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
    output: Output = None,
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
