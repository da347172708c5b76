"""Errors, and the exit status of each kind.

    StagerError                 70   a fault of the program
    ├── InputError               2   the input needs correcting; carries a hint
    │   ├── InputErrors          2   several of them, found in one pass
    │   ├── NotComputable        2   each number is in range, but no throw can be computed from them together
    │   └── NoDesign             2   what was asked for needs a plan, and no design fits; commands answer "no" instead
    └── Interrupted            130   stopped by the user

A jam, a broken limit or no feasible design is a result, not an error.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import IntEnum

CONTROL_CHARACTERS = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060\u2066-\u2069\ud800-\udfff\ufeff]"
)


def printable(text: str) -> str:
    r"""Return a text with control and direction characters escaped, which could change how a screen or page shows it.

    >>> print(printable("\x1b[2J a\u202eb\n"))
    \x1b[2J a\u202eb\x0a
    """
    return CONTROL_CHARACTERS.sub(lambda found: _escape(ord(found[0])), text)


def _escape(code: int) -> str:
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


class ExitStatus(IntEnum):
    """Exit statuses of the command line."""

    DONE = 0
    ANSWER_IS_NO = 1
    BAD_INPUT = 2
    FAULT = 70
    INTERRUPTED = 130


class StagerError(Exception):
    """Base of all errors raised on purpose."""

    exit_status = ExitStatus.FAULT


class InputError(StagerError):
    """One thing that is wrong in the user's input.

    where: `file:line: key`, without unknown parts; hint: a correct example.
    """

    exit_status = ExitStatus.BAD_INPUT

    def __init__(self, message: str, *, where: str = "", hint: str = "") -> None:
        self.message, self.where, self.hint = printable(message), printable(where), printable(hint)
        super().__init__(f"{self.where}: {self.message}" if where else self.message)


class InputErrors(InputError):
    """All errors of one input: unknown tables first, then the others in the order of its lines."""

    def __init__(self, errors: Sequence[InputError]) -> None:
        self.errors = tuple(errors)
        self.message, self.where, self.hint = "\n".join(str(error) for error in self.errors), "", ""
        Exception.__init__(self, self.message)


class NotComputable(InputError):
    """No throw can be computed from a launcher's numbers, although each is in its range."""

    def __init__(self, message: str, *, where: str = "") -> None:
        hint = "some quantity is far from what a launcher has: look for a wrong unit or a slip of the pen"
        super().__init__(message, where=where, hint=hint)


class NoDesign(InputError):
    """What was asked for needs the settings of a plan, and the plan has none."""


class Interrupted(StagerError):
    """Stopped by the user."""

    exit_status = ExitStatus.INTERRUPTED
