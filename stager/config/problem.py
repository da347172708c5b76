"""One thing that is wrong with a file, before it has a line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from stager.config.lines import Path, key_lines, line_of
from stager.config.toml import show_key
from stager.errors import InputError, InputErrors


@dataclass(frozen=True, slots=True)
class Problem:
    """path: the key it is about; others: further keys it was judged by; hint: what would be right; first: whether it
    is said before all others, as others may follow from it."""

    path: Path
    message: str
    hint: str = ""
    others: tuple[Path, ...] = ()
    first: bool = False

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
    """Problems as errors with their lines in the file `name`, each once, in line order but for the first."""
    lines = key_lines(text)
    keyed = ((not p.first, line_of(lines, p.path), dotted(p.path), p.message, p.hint) for p in problems)
    return InputErrors(
        [
            InputError(message, where=f"{name}:{line}: {key}" if key else f"{name}:{line}", hint=hint)
            for _, line, key, message, hint in sorted(dict.fromkeys(keyed))
        ]
    )
