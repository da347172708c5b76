"""`stager listen`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stager.cli.session import Session
from stager.report.answer import Answer

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
