"""Turns a function of a session into a command that has the shared switches."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from stager.cli.session import Session

if TYPE_CHECKING:
    from stager.report.answer import Answer

Config = Annotated[Path, typer.Argument(help="Configuration file (TOML).", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="The answer in one line, no tables, no progress.")]
Seed = Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Seed of all random draws.")]
Workers = Annotated[
    int | None,
    typer.Option("--workers", metavar="N", min=1, help="Processes that share the work of a plan.", show_default="2"),
]

Draws = Annotated[
    int,
    typer.Option(
        "--draws", metavar="N", min=0, help="Launchers drawn for intervals and chances; 0: none, a quick answer."
    ),
]
Dask = Annotated[
    str | None, typer.Option("--dask", metavar="ADDRESS", help="Dask cluster to work on, in place of --workers.")
]
Resume = Annotated[
    Path | None,
    typer.Option("--resume", metavar="FILE", help="Keep finished parts in FILE, and take up those that are there."),
]

Force = Annotated[
    bool, typer.Option("--force", help="Replace files that stager did not write, or that were changed since.")
]

_SWITCHES = [
    inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, annotation=annotation, default=default)
    for name, annotation, default in (
        ("json", Json, False),
        ("quiet", Quiet, False),
        ("seed", Seed, 0),
        ("workers", Workers, None),
    )
]


def command(run: Callable[..., Answer | None]) -> Callable[..., None]:
    """`run(session, ...)` as a typer command: the session is made from the switches, errors end in it."""

    def invoke(*, json: bool, quiet: bool, seed: int, workers: int | None, **given: Any) -> None:
        session = Session(json=json, quiet=quiet, seed=seed, workers=workers)
        raise typer.Exit(session.run(lambda: run(session, **given)))

    hints = get_type_hints(run, globalns=run.__globals__, include_extras=True)
    own = [
        parameter.replace(annotation=hints[parameter.name], kind=inspect.Parameter.KEYWORD_ONLY)
        for parameter in list(inspect.signature(run).parameters.values())[1:]
    ]
    parameters = [*own, *_SWITCHES]
    invoke.__name__, invoke.__doc__ = run.__name__, run.__doc__
    invoke.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    invoke.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    return invoke
