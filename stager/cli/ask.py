"""Questions on a terminal, each with its usual answer."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import TextIO

from stager.config.start import QUESTIONS, Question, read_answer
from stager.errors import Interrupted

ABOUT = "Enter keeps what stands in brackets; ? explains; Ctrl-C leaves and writes nothing."


def ask(given: Mapping[str, str], out: TextIO) -> dict[str, str]:
    """Ask all questions that `given` does not answer. Raises Interrupted where input ends."""
    answers: dict[str, str] = {}
    out.write(f"{ABOUT}\n\n")
    for question in QUESTIONS:
        if question.name in given:
            answers[question.name] = given[question.name]
        elif question.asked(answers):
            answers[question.name] = _one(question, question.usual(answers), out)
    return answers


def _one(question: Question, usual: str, out: TextIO) -> str:
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
