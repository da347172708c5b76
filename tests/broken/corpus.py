"""Invalid configurations, each given as an edit of `valid.toml` with the expected errors.

In *.txt: `# name` of the case; `-` lines of the valid file and the `+` lines that replace them; `++` lines appended at
its end; `>` expected error without the file's name; `?` expected hint.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
VALID = (HERE / "valid.toml").read_text(encoding="utf-8")


@dataclass(frozen=True)
class Case:
    """A case: its name, the text of the file, and the expected errors (place with message, hint) in order."""

    name: str
    text: str
    errors: tuple[tuple[str, str], ...]


def cases() -> Iterator[Case]:
    """Yield the cases of all files."""
    for path in sorted(HERE.glob("*.txt")):
        for block in path.read_text(encoding="utf-8").split("\n\n"):
            yield _case(block.splitlines())


def _case(lines: list[str]) -> Case:
    name, errors, edits = "", [], [["", ""]]
    text = VALID
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
            errors.append((rest, ""))
        elif mark == "?":
            errors[-1] = (errors[-1][0], rest)
        else:
            raise ValueError(f"{name}: {line!r}")
    for before, after in edits:
        if before and text.count(before) != 1:
            raise ValueError(f"{name}: {before!r} stands {text.count(before)} times in the valid file")
        text = text.replace(before, after) if before else text
    return Case(name, text, tuple(errors))
