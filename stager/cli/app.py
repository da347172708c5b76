"""The command table."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import command
from stager.cli.commands import design, documents, measuring, new
from stager.version import __version__

app = typer.Typer(
    name="stager",
    add_completion=False,
    no_args_is_help=True,
    # Plain help: with markup, units such as [m/s] would vanish from it.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

COMMANDS = (
    *(new.new, design.check, design.throw, design.sweep, measuring.fit, design.plan, design.worth, design.motor),
    *(measuring.compare, measuring.next, measuring.bench, measuring.listen),
    *(documents.report, documents.draw, documents.card, documents.explain, documents.schema),
)
for run in COMMANDS:
    app.command(run.__name__)(command(run))


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"stager {__version__}")
        raise typer.Exit


@app.callback()
def _stager(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")] = (
        False
    ),
) -> None:
    """Plan a launcher that grips a projectile between wheels: how many stages, how fast each, worth one more?"""
