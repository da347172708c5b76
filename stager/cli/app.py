"""The command table."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import command
from stager.cli.commands import bench, check, drawings, explain, fit, listen, motor, new, plan, report, sweep, throw
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
    *(new.new, check.check, throw.throw, sweep.sweep, fit.fit, plan.plan, plan.worth, motor.motor),
    *(fit.compare, fit.next, bench.bench, listen.listen, report.report, drawings.draw, drawings.card),
    *(explain.explain, explain.schema),
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
