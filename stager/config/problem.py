"""One thing that is wrong with a file, before it has a line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from stager.config.lines import Path, key_lines, line_of
from stager.config.toml import show_key
from stager.errors import InputError, InputErrors


@dataclass(frozen=True, slots=True)
class Problem:
    """path: the key it is about; others: further keys it was judged by; hint: what would be right."""

    path: Path
    message: str
    hint: str = ""
    others: tuple[Path, ...] = ()

    def rests_on(self, damaged: Iterable[Path]) -> bool:
        """Whether it was judged by a key that is itself wrong: then it may not be true."""
        return any(_meet(mine, theirs) for theirs in damaged for mine in (self.path, *self.others))


def _meet(a: Path, b: Path) -> bool:
    """One path leads to the other."""
    short = min(len(a), len(b))
    return a[:short] == b[:short]


def dotted(path: Path) -> str:
    """A path as people write it, elements of lists counted from 1."""
    return ".".join(str(part + 1) if isinstance(part, int) else show_key(part) for part in path)


def place(name: str, text: str, problems: Iterable[Problem]) -> InputErrors:
    """Problems as errors with their lines in the file `name`, in line order, each once."""
    lines = key_lines(text)
    ordered = sorted(dict.fromkeys((line_of(lines, p.path), dotted(p.path), p.message, p.hint) for p in problems))
    return InputErrors(
        [
            InputError(message, where=f"{name}:{line}: {key}" if key else f"{name}:{line}", hint=hint)
            for line, key, message, hint in ordered
        ]
    )
