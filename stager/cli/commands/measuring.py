"""Commands about measured throws: `stager fit`, `compare`, `next`, `bench` and `listen`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stager.cli.command import Build, Config, Force, check_outputs, progress, to_stdout
from stager.cli.session import Session, forgiving
from stager.errors import Interrupted
from stager.report.answer import Answer

if TYPE_CHECKING:
    from stager.fit.experiment_design import Next
    from stager.fit.table import Throws

Table = Annotated[Path, typer.Argument(help="Table of measured throws (CSV).", show_default=False)]
Fitted = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FITTED", help="Write a configuration with the fitted values."),
]
Predicted = Annotated[
    int | None,
    typer.Option(
        "--stages", metavar="N", min=1, max=12, help="Predict up to N stages; default: one more than measured."
    ),
]


def fit(
    session: Session, config: Config, throws: Table, output: Fitted = None, build: Build = None,
    stages: Predicted = None, force: Force = False,
) -> Answer:  # fmt: skip
    """Calibrate the model with measured throws.

    Shows the fitted values, what the throws cannot tell, and the exit speed to expect from the next stage.
    """
    loaded = session.load(config)
    from stager.config.csv_tables import draws_place
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
    answer = report.next_answer(found, loaded.source(session.seed))
    return note_spin_left_out(answer, loaded.scenario.goal)


NewTable = Annotated[Path, typer.Argument(help="Table of throws (CSV); created if missing.", show_default=False)]
Fitting = Annotated[bool, typer.Option("--fit/--no-fit", help="Show curve and next setting after each throw.")]
Built = Annotated[
    int, typer.Option("--stages", metavar="N", min=1, max=12, help="Stages built, as long as no throw tells.")
]


def bench(session: Session, config: Config, throws: NewTable, fit: Fitting = True, stages: Built = 1) -> Answer:
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


Sound = Annotated[Path, typer.Argument(help="Recording of a throw (WAV).", show_default=False)]
Distance = Annotated[
    str | None,
    typer.Option(metavar="LENGTH", help="From where the first knock sounds to the target, as '5 m ± 1 cm'."),
]
Microphone = Annotated[
    str | None,
    typer.Option(metavar="LENGTH", help="From the microphone to where the first knock sounds; '0 m': beside it."),
]
Beyond = Annotated[
    str | None,
    typer.Option("--to-target", metavar="LENGTH", help="From the microphone to the target, where it is off the line."),
]
Air = Annotated[str, typer.Option(metavar="TEMPERATURE", help="Of the air.")]
Rpm = Annotated[
    list[str],
    typer.Option(
        "--rpm", metavar="LOW:HIGH", default_factory=list, show_default=False,
        help="Range in which a wheel's speed is looked for, one --rpm a wheel; 600:30000 where left out.",
    ),
]  # fmt: skip
Marks = Annotated[int, typer.Option(metavar="N", min=1, max=1000, help="Blades, spokes or marks that sound in a turn.")]
Near = Annotated[
    list[float],
    typer.Option(
        "--knock", metavar="SECONDS", default_factory=list, show_default=False,
        help="About when a knock was, given twice, where more than two are heard.",
    ),
]  # fmt: skip
Channel = Annotated[int | None, typer.Option(metavar="N", min=1, help="Microphone of several; the loudest by default.")]
Start = Annotated[float, typer.Option(metavar="SECONDS", min=0.0, help="Leave out what comes before.")]
End = Annotated[float | None, typer.Option(metavar="SECONDS", min=0.0, help="Leave out what comes after.")]


def listen(
    session: Session, sound: Sound, rpm: Rpm, knock: Near, distance: Distance = None, microphone: Microphone = None,
    to_target: Beyond = None, temperature: Air = "20 degC ± 5 K", marks: Marks = 1, channel: Channel = None,
    start: Start = 0.0, end: End = None,
) -> Answer:  # fmt: skip
    """Find speed and rpm in the sound of a throw.

    The speed comes from two knocks; rpm, how much the wheels slow and how soon they recover come from their tone.
    """
    from stager.api.recording import listen as hear
    from stager.report import listen as report

    with session.busy("listening"):
        heard = hear(
            sound, distance=distance, microphone=microphone, to_target=to_target, temperature=temperature, rpm=rpm,
            marks=marks, knocks=knock, channel=channel, start=start, end=end,
        )  # fmt: skip
    return report.answer(heard, session.seed)
