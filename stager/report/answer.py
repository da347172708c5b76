"""What a command hands back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from stager.report.table import Screen


@dataclass(frozen=True, slots=True)
class Answer:
    """Screen for people (None: the document is for both), document for programs.

    `yes` is False where the answer is "no" (exit status 1).
    """

    screen: Screen | None
    document: Mapping[str, Any]
    yes: bool = True
