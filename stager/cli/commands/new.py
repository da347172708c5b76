"""`stager new`, with its questions on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from stager.cli.command import check_new, write_new
from stager.cli.session import Session
from stager.errors import InputError, InputErrors, Interrupted
from stager.report.answer import Answer, Screen
from stager.report.numbers import listing
from stager.version import __version__

if TYPE_CHECKING:
    from stager.config.scaffold import Question

LAUNCHER = "launcher.toml"
THROWS = "throws.csv"
SCHEMA = "stager.schema.json"
ABOUT = "Enter takes the value in brackets; ? explains; Ctrl-C leaves and writes nothing."


def ask(given: Mapping[str, str], out: TextIO) -> dict[str, str]:
    """Ask what `given` leaves open and return all answers by name. Raises Interrupted where input ends."""
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
        out.write(f"{question.text}{choices} [{_encodable(usual, out)}]: ")
        out.flush()
        line = sys.stdin.readline()
        if not line:
            out.write("\n")
            raise Interrupted("input ended; nothing was written")
        # A terminal without UTF-8 gives letters beyond ASCII as lone bytes.
        text = line.encode("utf-8", "surrogateescape").decode("utf-8", "replace").strip()
        if text == "?":
            out.write(f"  {question.help}\n")
            continue
        try:
            return read_answer(question, text) if text else usual
        except ValueError as error:
            out.write(f"  {_encodable(str(error), out)}\n")


def _encodable(text: str, out: TextIO) -> str:
    """Return the text with ± written as +/- where the terminal is not UTF-8."""
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

    It also writes the schema from which editors complete keys. On a terminal it asks what the flags leave open;
    elsewhere it takes usual values.
    """
    given = {
        "shape": shape, "mass": mass, "width": width, "length": length, "thickness": thickness, "layout": layout,
        "radius": radius, "motor": motor, "case": case, "supply": supply, "rate": rate, "energy": energy,
        "stages": stages, "longest": longest,
    }  # fmt: skip
    from stager.config import schema_json
    from stager.config.scaffold import start
    from stager.fit.table.writer import blank
    from stager.report import answer

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
    return _written([str(path) for path in texts])


def _written(names: list[str]) -> Answer:
    """Return the answer; names: files written, first the configuration, then the table of throws."""
    notes = (
        f"Next: stager plan {names[0]}",
        "Stiffness, friction and creep in it are guesses: put in what you know, then measure some throws:"
        f" stager bench {names[0]} {names[1]}",
    )
    screen = Screen(f"Wrote {listing(names)}.", notes=notes)
    return Answer(screen, {"written": names, "stager_version": __version__})


def _flags(given: dict[str, str]) -> dict[str, str]:
    """Return the answers that flags give. Raises InputErrors with all that is wrong with them."""
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
