"""`stager new`, with its questions on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from stager.cli.output import check_new, write_new
from stager.cli.session import Session
from stager.errors import InputError, InputErrors, Interrupted
from stager.report.answer import Answer

if TYPE_CHECKING:
    from stager.config.scaffold import Question

LAUNCHER, THROWS, SCHEMA = "launcher.toml", "throws.csv", "stager.schema.json"
ABOUT = "Enter keeps what stands in brackets; ? explains; Ctrl-C leaves and writes nothing."


def ask(given: Mapping[str, str], out: TextIO) -> dict[str, str]:
    """Ask all questions that `given` does not answer. Raises Interrupted where input ends."""
    from stager.config.scaffold import QUESTIONS

    answers: dict[str, str] = {}
    out.write(f"{ABOUT}\n\n")
    for question in QUESTIONS:
        if question.name in given:
            answers[question.name] = given[question.name]
        elif question.asked(answers):
            answers[question.name] = _one(question, question.usual(answers), out)
    return answers


def _one(question: Question, usual: str, out: TextIO) -> str:
    from stager.config.scaffold import read_answer

    choices = f" ({', '.join(question.choices)})" if question.choices and question.unit == "" else ""
    choices = "" if all(choice.isdigit() for choice in question.choices) else choices
    while True:
        out.write(f"{question.text}{choices} [{_spelt(usual, out)}]: ")
        out.flush()
        line = sys.stdin.readline()
        if not line:
            out.write("\n")
            raise Interrupted("input ended; nothing was written")
        # In a terminal without UTF-8 what it does not know comes as lone bytes.
        said = line.encode("utf-8", "surrogateescape").decode("utf-8", "replace").strip()
        if said == "?":
            out.write(f"  {question.help}\n")
            continue
        try:
            return read_answer(question, said) if said else usual
        except ValueError as error:
            out.write(f"  {_spelt(str(error), out)}\n")


def _spelt(text: str, out: TextIO) -> str:
    """The text as the terminal can spell it."""
    return text if (out.encoding or "").lower().startswith("utf") else text.replace("±", "+/-")


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
    """Write a starting configuration and a throws table.

    And the schema from which editors complete keys. On a terminal it asks what the flags leave open; elsewhere the
    usual values are taken.
    """
    given = {
        "shape": shape, "mass": mass, "width": width, "length": length, "thickness": thickness, "layout": layout,
        "radius": radius, "motor": motor, "case": case, "supply": supply, "rate": rate, "energy": energy,
        "stages": stages, "longest": longest,
    }  # fmt: skip
    from stager.config import schema_json
    from stager.config.scaffold import start
    from stager.fit.table.book import blank
    from stager.report import answer
    from stager.report import written as report

    answers = _flags({name: text for name, text in given.items() if text is not None})
    check_new([dir / name for name in (LAUNCHER, THROWS, SCHEMA)])
    if sys.stdin.isatty() and not (defaults or session.quiet or session.json):

        answers = ask(answers, sys.stderr)
    template = (files("stager.cli") / "templates" / LAUNCHER).read_text(encoding="utf-8")
    texts = {
        dir / LAUNCHER: start(template, dir / LAUNCHER, answers),
        dir / THROWS: blank(int(answers.get("stages", "4"))),
        dir / SCHEMA: answer.json_text(schema_json()) + "\n",
    }
    write_new(texts)
    return report.new_answer([str(path) for path in texts])


def _flags(given: dict[str, str]) -> dict[str, str]:
    """What the flags say. Raises InputErrors with all that is wrong with them."""
    from stager.config.scaffold import QUESTIONS, read_answer

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
