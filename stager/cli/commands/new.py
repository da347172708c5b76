"""`stager new`."""

from __future__ import annotations

import sys
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from stager.cli.files import check_new, write_new
from stager.cli.session import Session
from stager.errors import InputError, InputErrors
from stager.report.answer import Answer

LAUNCHER, THROWS, SCHEMA = "launcher.toml", "throws.csv", "stager.schema.json"
Directory = Annotated[Path, typer.Argument(help="Directory to write to.", show_default=False)]


Shape = Annotated[str | None, typer.Option("--shape", metavar="SHAPE", help="ball, hollow ball, disc, ring or rod.")]
Mass = Annotated[str | None, typer.Option("--mass", metavar="MASS", help='Of the projectile, as "18 g ± 0.5 g".')]
Width = Annotated[str | None, typer.Option("--width", metavar="WIDTH", help="Where the wheels grip it.")]
Length = Annotated[str | None, typer.Option("--length", metavar="LENGTH", help="Of a rod.")]
Thickness = Annotated[str | None, typer.Option("--thickness", metavar="THICKNESS", help="Of a disc or ring.")]
Layout = Annotated[str | None, typer.Option("--layout", metavar="LAYOUT", help="pair, rail or idler.")]
Radius = Annotated[
    str | None, typer.Option("--radius", metavar="RADIUS", help="Of a wheel, to the outside of its tyre.")
]
Motor = Annotated[
    str | None, typer.Option("--motor", metavar="KV", help='Its speed constant, as "1400 rpm/V", or none.')
]
Case = Annotated[str | None, typer.Option("--case", metavar="DIAMETER", help="Of the motor's case.")]
Supply = Annotated[str | None, typer.Option("--supply", metavar="VOLTAGE", help="Its voltage.")]
Rate = Annotated[str | None, typer.Option("--rate", metavar="RATE", help='Throws per second, as "2 /s".')]
Energy = Annotated[str | None, typer.Option("--energy", metavar="ENERGY", help="Greatest exit energy.")]
Stages = Annotated[str | None, typer.Option("--stages", metavar="N", help="Most stages.")]
Longest = Annotated[str | None, typer.Option("--longest", metavar="LENGTH", help="Greatest length along the barrel.")]
Defaults = Annotated[bool, typer.Option("--defaults", help="Ask nothing, also on a terminal.")]


def new(
    session: Session, dir: Directory, shape: Shape = None, mass: Mass = None, width: Width = None,
    length: Length = None, thickness: Thickness = None, layout: Layout = None, radius: Radius = None,
    motor: Motor = None, case: Case = None, supply: Supply = None, rate: Rate = None, energy: Energy = None,
    stages: Stages = None, longest: Longest = None, defaults: Defaults = False,
) -> Answer:  # fmt: skip
    """Write a starting configuration, an empty throws table and the schema that editors complete keys from.

    On a terminal it asks a few questions, but for what flags answer; elsewhere flags and usual values do.
    """
    given = {
        "shape": shape, "mass": mass, "width": width, "length": length, "thickness": thickness, "layout": layout,
        "radius": radius, "motor": motor, "case": case, "supply": supply, "rate": rate, "energy": energy,
        "stages": stages, "longest": longest,
    }  # fmt: skip
    from stager.config import schema_json
    from stager.config.start import start
    from stager.fit.table.book import blank
    from stager.report import document
    from stager.report import new as report

    answers = _flags({name: text for name, text in given.items() if text is not None})
    check_new([dir / name for name in (LAUNCHER, THROWS, SCHEMA)])
    if sys.stdin.isatty() and not (defaults or session.quiet or session.json):
        from stager.cli.ask import ask

        answers = ask(answers, sys.stderr)
    template = (files("stager.cli") / "templates" / LAUNCHER).read_text(encoding="utf-8")
    texts = {
        dir / LAUNCHER: start(template, dir / LAUNCHER, answers),
        dir / THROWS: blank(int(answers.get("stages", "4"))),
        dir / SCHEMA: document.text(schema_json()) + "\n",
    }
    write_new(texts)
    return report.answer([str(path) for path in texts])


def _flags(given: dict[str, str]) -> dict[str, str]:
    """What the flags say. Raises InputErrors with all that is wrong with them."""
    from stager.config.start import QUESTIONS, read_answer

    answers: dict[str, str] = {}
    errors = []
    for question in QUESTIONS:
        if question.name not in given:
            continue
        try:
            answers[question.name] = read_answer(question, given[question.name])
        except ValueError as error:
            errors.append(InputError(str(error), where=f"--{question.name}", hint=question.help))
    if errors:
        raise InputErrors(errors)
    return answers
