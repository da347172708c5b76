"""Share slow results between tests that ask the same of the same configuration."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from stager.api import Loaded

RESULTS: dict[tuple[str, ...], Any] = {}
"""Results by method, hash of the configuration, arguments and options."""


def share_results(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    """Make methods of `Loaded` return cached results for equal configurations and arguments."""
    for name in names:
        monkeypatch.setattr(Loaded, name, _cached(name, getattr(Loaded, name)))


def _cached(name: str, method: Callable[..., Any]) -> Callable[..., Any]:
    def call(loaded: Loaded, *given: Any, **options: Any) -> Any:
        options.pop("progress", None)
        key = (name, loaded.sha256, repr(given), repr(sorted(options.items())))
        if key not in RESULTS:
            RESULTS[key] = method(loaded, *given, **options)
        return RESULTS[key]

    return call
