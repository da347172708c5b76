"""Commands that learn from measured throws: `stager fit`, `stager compare`, `stager next`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.command import Config, Force
from stager.cli.output import check_outputs, progress, to_stdout
from stager.cli.session import Session
from stager.report.answer import Answer

Table = Annotated[Path, typer.Argument(help="Table of measured throws (CSV).", show_default=False)]
Build = Annotated[str | None, typer.Option("--build", metavar="NAME", help="Throws of this build alone.")]
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FITTED", help="Write a configuration with the fitted values."),
]
Stages = Annotated[
    int | None,
    typer.Option(
        "--stages", metavar="N", min=1, max=12, help="Predict up to N stages; default: one more than measured."
    ),
]


def fit(
    session: Session, config: Config, throws: Table, output: Output = None, build: Build = None, stages: Stages = None,
    force: Force = False,
) -> Answer:  # fmt: skip
    """Calibrate the model with measured throws.

    Shows the fitted values, what the throws cannot tell, and the exit speed to expect from the next stage.
    """
    loaded = session.load(config)
    from stager.config.draws import draws_place
    from stager.files import is_stream
    from stager.report import fit as report
    from stager.report.throw import note_spin_left_out

    outputs = [] if output is None else [output] if is_stream(output) else [output, draws_place(output)]
    check_outputs(session, outputs, [*loaded.files, throws], force=force)
    table = loaded.read_throws(throws, build)
    with progress(session, "Fitting") as tell:
        found = loaded.fit(table, seed=session.seed, stages=stages, progress=tell)
    written = [] if output is None else loaded.save_fit(found.fit, output, seed=session.seed, force=force)
    answer = report.answer(found, loaded.configuration.quantities, loaded.source(session.seed), written)
    return replace(note_spin_left_out(answer, loaded.scenario.goal), screen_to_stderr=to_stdout(output))


Builds = Annotated[
    tuple[str, str],
    typer.Option("--builds", metavar="A B", show_default=False, help="Two names of the table's column build."),
]


def compare(session: Session, config: Config, throws: Table, builds: Builds) -> Answer:
    """Compare two builds: difference and what explains it."""
    loaded = session.load(config)
    from stager.report import compare as report

    table = loaded.read_throws(throws)
    with session.busy("Comparing"):
        found = loaded.compare(table, builds, seed=session.seed)
    return report.answer(found, table, loaded.scenario.launcher, loaded.source(session.seed))


Count = Annotated[int, typer.Option("--throws", metavar="N", min=1, max=60, help="How many throws to plan.")]


def next(session: Session, config: Config, throws: Table, count: Count = 6, build: Build = None) -> Answer:
    """Propose what to measure next, if anything."""
    loaded = session.load(config)
    from stager.report import bench as report
    from stager.report.throw import note_spin_left_out

    table = loaded.read_throws(throws, build)
    with progress(session, "Weighing measurements") as tell:
        found = loaded.next(table, seed=session.seed, count=count, progress=tell)
    answer = report.next_answer(found, loaded.scenario.launcher, loaded.source(session.seed))
    return note_spin_left_out(answer, loaded.scenario.goal)
