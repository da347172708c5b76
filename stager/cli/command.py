"""Options that several commands share, and `command`, which makes a typer command of a function of a session."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from stager.cli.session import Session

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
