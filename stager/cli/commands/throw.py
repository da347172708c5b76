"""`stager throw`."""

from __future__ import annotations

from typing import Annotated

import typer

from stager.cli.command import Config
from stager.cli.session import Session
from stager.report.answer import Answer

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


def throw(session: Session, config: Config, speed: Speeds) -> Answer:
    """Simulate one throw through all stages."""
    loaded = session.load(config)
    from stager.report import throw as report

    done = loaded.simulate(*speed)
    flown = loaded.flown(done, seed=session.seed)
    return report.answer(loaded.scenario.launcher, done, loaded.source(session.seed), flown)
