"""Answers that take long, made once for all tests that ask the same of the same configuration."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from stager.api import Loaded

ANSWERS: dict[tuple[str, ...], Any] = {}
"""Results by method, hash of the configuration, arguments and options."""


def share_answers(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    """Let methods of `Loaded` give what they gave before, where they are asked the same."""
    for name in names:
        monkeypatch.setattr(Loaded, name, _kept(name, getattr(Loaded, name)))


def _kept(name: str, ask: Callable[..., Any]) -> Callable[..., Any]:
    def answer(loaded: Loaded, *given: Any, **options: Any) -> Any:
        options.pop("progress", None)
        key = (name, loaded.sha256, repr(given), repr(sorted(options.items())))
        if key not in ANSWERS:
            ANSWERS[key] = ask(loaded, *given, **options)
        return ANSWERS[key]

    return answer
