"""What a command hands back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from stager.report.table import Screen


@dataclass(frozen=True, slots=True)
class Answer:
    """Screen for people (None: the document is for both), document for programs.

    `yes` is False where the answer is "no" (exit status 1); `aside` where standard output holds a file already, and
    the screen goes to standard error.
    """

    screen: Screen | None
    document: Mapping[str, Any]
    yes: bool = True
    aside: bool = False
