"""`stager motor`."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import Config
from stager.cli.commands.throw import Speeds
from stager.cli.session import Session
from stager.report.answer import Answer

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
