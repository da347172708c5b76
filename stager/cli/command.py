"""What commands share: options, checks of output files, the progress bar on stderr, and `command`.

`command` makes a typer command of a function of a session.
"""

from __future__ import annotations

import inspect
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from stager.cli.session import Session
from stager.errors import InputError
from stager.files import STDOUT, check_place, replace_all

if TYPE_CHECKING:
    from stager.report.answer import Answer

Config = Annotated[Path, typer.Argument(help="Configuration file (TOML).", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="The answer in one line, no tables, no progress.")]
Full = Annotated[bool, typer.Option("--full", help="Everything, not only what fits one page of a terminal.")]
Seed = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Seed of all random draws.")]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", metavar="N", min=1, help="Threads that share the work, at most one a core.", show_default="2"
    ),
]

Draws = Annotated[
    int,
    typer.Option(
        "--draws", metavar="N", min=0, help="Launchers drawn for intervals and chances; 0: none, a quick answer."
    ),
]
Dask = Annotated[
    str | None,
    typer.Option(
        "--dask", metavar="ADDRESS",
        help="Scheduler of a Dask cluster to work on, in place of --workers. It is trusted: what it sends back can run"
        " code here, and without --dask-tls all is sent in the clear.",
    ),
]  # fmt: skip
Tls = Annotated[
    tuple[Path, Path, Path] | None,
    typer.Option(
        "--dask-tls", metavar="CA CERT KEY", show_default=False,
        help="For --dask: certificate of its authority, own certificate, own key.",
    ),
]  # fmt: skip
Resume = Annotated[
    Path | None,
    typer.Option("--resume", metavar="FILE", help="Keep finished parts in FILE, and go on from those it holds."),
]

Force = Annotated[
    bool, typer.Option("--force", help="Replace files that stager did not write, or that were changed since.")
]
Seconds = Annotated[
    float | None,
    typer.Option(
        "--seconds", metavar="N", min=0, help="Stop the search after about N seconds and say what was left undone."
    ),
]
Change = Annotated[
    list[str],
    typer.Option(
        "--set", metavar="KEY=VALUE", default_factory=list, show_default=False,
        help="Use another value for a key of the configuration, without editing the file, as"
        " limits.stages=2 or \"stage.wheel.radius=45 mm\"; repeatable.",
    ),
]  # fmt: skip
Speeds = Annotated[
    list[str],
    typer.Option(
        "--speed",
        metavar="SPEED",
        default_factory=list,
        show_default=False,
        help="Surface speed of a stage's wheels in m/s, or with a unit as '9000 rpm'; 12:9 sets the two wheels of a"
        " pair apart. One --speed a stage; the configuration's set speeds where left out.",
    ),
]
Build = Annotated[str | None, typer.Option("--build", metavar="NAME", help="Throws of this build alone.")]
Throws = Annotated[Path | None, typer.Argument(help="Table of measured throws (CSV).", show_default=False)]
Figures = Annotated[
    Path | None,
    typer.Option("--figures", metavar="DIR", help="Write the figures as SVG and PNG to a directory."),
]

_SWITCHES = [
    inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, annotation=annotation, default=default)
    for name, annotation, default in (
        ("json", Json, False),
        ("quiet", Quiet, False),
        ("full", Full, False),
        ("seed", Seed, 0),
        ("workers", Workers, None),
    )
]

_CHANGES = inspect.Parameter("changes", inspect.Parameter.KEYWORD_ONLY, annotation=Change)


def command(run: Callable[..., Answer | None]) -> Callable[..., None]:
    """Return `run(session, ...)` as a typer command that makes the session from the shared switches."""

    def invoke(
        *, json: bool, quiet: bool, full: bool, seed: int, workers: int | None, changes: Sequence[str] = (),
        **given: Any,
    ) -> None:  # fmt: skip
        session = Session(json=json, quiet=quiet, full=full, seed=seed, workers=workers, changes=tuple(changes))
        raise typer.Exit(session.run(lambda: run(session, **given)))

    hints = get_type_hints(run, globalns=run.__globals__, include_extras=True)
    own = [
        parameter.replace(annotation=hints[parameter.name], kind=inspect.Parameter.KEYWORD_ONLY)
        for parameter in list(inspect.signature(run).parameters.values())[1:]
    ]
    takes_config = any(parameter.name == "config" for parameter in own)
    parameters = [*own, *([_CHANGES] if takes_config else []), *_SWITCHES]
    invoke.__name__, invoke.__doc__ = run.__name__, run.__doc__
    invoke.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    invoke.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    return invoke


def to_stdout(output: Path | None) -> bool:
    """Whether `output` is standard output."""
    return output is not None and str(output) in STDOUT


def check_outputs(
    session: Session, outputs: Sequence[Path | None], inputs: Sequence[Path], resume: Path | None = None,
    *, force: bool = False,
) -> None:  # fmt: skip
    """Check that outputs can be written and replace neither an input, nor each other, nor a file of the user.

    Parameters
    ----------
    outputs : sequence of Path or None
        Files to be written.
    inputs : sequence of Path
        Files that the command reads.
    resume : Path, optional
        File that the command both reads and adds to.
    force : bool
        Files of the user may be replaced.

    Raises
    ------
    InputError
        For the first output that fails the check.
    """
    if resume is not None:
        _check_resume(resume, inputs)
    seen = [*inputs, *([] if resume is None else [resume])]
    for output in outputs:
        if output is None:
            continue
        if to_stdout(output) and session.json:
            message = "standard output would hold both the file and the JSON document"
            raise InputError(message, where="-o", hint="leave out --json, or name a file")
        check_place(output, inputs=seen, force=force)
        seen.append(output)


def _check_resume(resume: Path, inputs: Sequence[Path]) -> None:
    for other in inputs:
        if resume.resolve() == other.resolve():
            message = "is an input of the same command, so finished parts cannot be kept there"
            raise InputError(message, where=str(resume), hint="name another file for --resume")


def check_new(paths: Sequence[Path]) -> None:
    """Raise InputError where one of the files exists."""
    for path in paths:
        if path.exists() or path.is_symlink():
            raise InputError("exists already and is left as it is", where=str(path), hint="choose another directory")


def write_new(texts: Mapping[Path, str]) -> None:
    """Write files that must not exist yet. Raises InputError before anything is written."""
    check_new(list(texts))
    replace_all({path: text.encode() for path, text in texts.items()})


EARLY = 0.02
"""Share done below which no time left is shown [-]."""


@contextmanager
def progress(session: Session, doing: str, *, at_once: bool = True) -> Iterator[Callable[[float], None]]:
    """Show a progress bar on stderr, where that is a terminal, and yield the function that updates it.

    at_once: show it at once, else at the first update. The bar runs in a thread, and worker processes must be started
    before any thread.
    """
    if session.quiet or not sys.stderr.isatty():
        yield lambda share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, ProgressColumn, SpinnerColumn, Task, TextColumn
    from rich.text import Text

    class Left(ProgressColumn):
        """Time left, counted down from the last estimate."""

        def render(self, task: Task) -> Text:
            estimate, spent = task.fields["estimate"], task.elapsed or 0.0
            return Text("" if estimate is None else left(estimate - spent))

    columns = (SpinnerColumn("line"), TextColumn("{task.description}"), BarColumn(), Left())
    bar = Progress(*columns, console=Console(stderr=True), transient=True)
    task, began = bar.add_task(doing, total=1.0, estimate=None), time.monotonic()

    def tell(share: float) -> None:
        bar.start()
        estimate = (time.monotonic() - began) / share if share > EARLY else None
        bar.update(task, completed=share, estimate=estimate)

    try:
        if at_once:
            bar.start()
        yield tell
    finally:
        bar.stop()


def left(seconds: float) -> str:
    """Return the time left in words.

    >>> left(0.2), left(7.6), left(95)
    ('nearly done', 'about 8 s left', 'about 2 min left')
    """
    if seconds < 1:
        return "nearly done"
    return f"about {seconds:.0f} s left" if seconds < 90 else f"about {seconds / 60:.0f} min left"
