"""`stager bench`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stager.cli.command import Config
from stager.cli.session import Session, forgiving
from stager.errors import Interrupted
from stager.report.answer import Answer

if TYPE_CHECKING:
    from stager.fit.experiment_design import Next
    from stager.fit.table import Throws

Table = Annotated[Path, typer.Argument(help="Table of throws (CSV); created if missing.", show_default=False)]
Fitting = Annotated[bool, typer.Option("--fit/--no-fit", help="Show curve and next setting after each throw.")]
Built = Annotated[
    int, typer.Option("--stages", metavar="N", min=1, max=12, help="Stages built, as long as no throw tells.")
]


def bench(session: Session, config: Config, throws: Table, fit: Fitting = True, stages: Built = 1) -> Answer:
    """Enter throws one by one at the bench.

    Each throw is saved in the table at once. Then come the curve, the grip limit and the setting to throw at next.
    """
    loaded = session.load(config)
    from stager.cli.interactive import BenchSession
    from stager.fit.table.writer import open_table
    from stager.report import bench as report
    from stager.report.throw import note_spin_left_out

    scenario = loaded.scenario

    def watch(measured: Throws, tell: Callable[[float], None]) -> tuple[Next, bool]:
        return loaded.watch(measured, seed=session.seed, stages=stages, progress=tell)

    out = forgiving(sys.stderr if session.json else sys.stdout)
    columns = max(stages, scenario.limit_values.stages)
    with open_table(throws, scenario.launcher, columns) as (writer, cut):
        entering = BenchSession(writer=writer, watch=watch if fit else None, out=out, plots=not session.quiet)
        out.write("".join(f"{line}\n" for line in report.opening(writer, writer.throws(), cut)))
        out.flush()
        try:
            if sys.stdin.isatty():
                entering.talk()
            else:
                entering.take_all(sys.stdin)
        except KeyboardInterrupt:
            raise Interrupted(f"interrupted; {report.all_saved(writer, writer.throws())}") from None
    source = loaded.source(session.seed)
    answer = report.closing(writer, writer.throws(), entering.new, entering.watched, str(config), source)
    return note_spin_left_out(answer, loaded.scenario.goal)
