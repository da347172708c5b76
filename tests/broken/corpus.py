"""Broken files, each told as a change to `right.toml` and what is to be said of it.

In *.txt: `# name`; `-` lines that stand in the right file and `+` lines in their place; `++` lines at its end;
`>` what is said, without the file's name; `?` its hint.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
RIGHT = (HERE / "right.toml").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Broken:
    """name of the case, text of the file, and what is said: place with message, and hint, in order."""

    name: str
    text: str
    said: tuple[tuple[str, str], ...]


def cases() -> Iterator[Broken]:
    """All cases of all files."""
    for path in sorted(HERE.glob("*.txt")):
        for block in path.read_text(encoding="utf-8").split("\n\n"):
            yield _case(block.splitlines())


def _case(lines: list[str]) -> Broken:
    name, said, edits = "", [], [["", ""]]
    text = RIGHT
    for line in lines:
        mark, _, rest = line.partition(" ")
        if mark == "#":
            name = rest
        elif mark == "++":
            text += rest + "\n"
        elif mark == "-":
            if edits[-1][1]:
                edits.append(["", ""])
            edits[-1][0] += rest + "\n"
        elif mark == "+":
            edits[-1][1] += rest + "\n"
        elif mark == ">":
            said.append((rest, ""))
        elif mark == "?":
            said[-1] = (said[-1][0], rest)
        else:
            raise ValueError(f"{name}: {line!r}")
    for before, after in edits:
        if before and text.count(before) != 1:
            raise ValueError(f"{name}: {before!r} stands {text.count(before)} times in the right file")
        text = text.replace(before, after) if before else text
    return Broken(name, text, tuple(said))
