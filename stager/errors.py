"""Everything that can go wrong, and the exit status each kind owns.

    StagerError                 70   a fault of ours
    ├── InputError               2   the input needs correcting; carries a hint
    │   ├── InputErrors          2   several of them, found in one pass
    │   └── NotComputable        2   numbers too far apart to be computed together
    └── Interrupted            130   stopped by the user; says what was kept

A result that is "no" (a jam, a broken limit, no design that fits) is not an error: it is a record.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import IntEnum

UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060\u2066-\u2069\ud800-\udfff\ufeff]")


def printable(text: str) -> str:
    """Return a text with control and direction characters escaped: they could change what a screen or page shows.

    >>> printable("\x1b[2J a\u202eb\n")
    '\\\\x1b[2J a\\\\u202eb\\\\x0a'
    """
    return UNSEEN.sub(lambda found: _escape(ord(found[0])), text)


def _escape(code: int) -> str:
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


class ExitStatus(IntEnum):
    """Exit statuses of the command line, a promise to scripts."""

    DONE = 0
    ANSWER_IS_NO = 1
    BAD_INPUT = 2
    FAULT = 70
    INTERRUPTED = 130


class StagerError(Exception):
    """Base of all errors raised on purpose."""

    exit_status = ExitStatus.FAULT


class InputError(StagerError):
    """One thing that is wrong in what the user gave.

    `where` is `file:line: key` (parts that are unknown are left out), `hint` a correct example.
    """

    exit_status = ExitStatus.BAD_INPUT

    def __init__(self, message: str, *, where: str = "", hint: str = "") -> None:
        self.message, self.where, self.hint = printable(message), printable(where), printable(hint)
        super().__init__(f"{self.where}: {self.message}" if where else self.message)


class InputErrors(InputError):
    """All problems of one input in the order of its lines, but for mistyped tables, which come first."""

    def __init__(self, errors: Sequence[InputError]) -> None:
        self.errors = tuple(errors)
        self.message, self.where, self.hint = "\n".join(str(error) for error in self.errors), "", ""
        Exception.__init__(self, self.message)


class NotComputable(InputError):
    """The numbers of a launcher lie too far apart to be computed, each within its range."""

    def __init__(self, message: str, *, where: str = "") -> None:
        hint = "some quantity is far from what a launcher has: look for a wrong unit or a slip of the pen"
        super().__init__(message, where=where, hint=hint)


class Interrupted(StagerError):
    """Stopped by the user."""

    exit_status = ExitStatus.INTERRUPTED
