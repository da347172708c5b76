"""Share slow results between tests that ask the same of the same configuration."""

from __future__ import annotations

from collections.abc import Callable
from inspect import signature
from typing import Any

import pytest

from stager.api import Loaded

WITHOUT_EFFECT = ("progress", "workers")
"""Options on which no result depends."""
RESULTS: dict[tuple[str, ...], Any] = {}
"""Results by method, hash of the configuration, arguments and options."""


def share_results(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    """Make methods of `Loaded` return cached results for equal configurations and arguments."""
    for name in names:
        monkeypatch.setattr(Loaded, name, _cached(name, getattr(Loaded, name)))


def _cached(name: str, method: Callable[..., Any]) -> Callable[..., Any]:
    defaults = {one.name: repr(one.default) for one in signature(method).parameters.values()}

    def call(loaded: Loaded, *given: Any, **options: Any) -> Any:
        asked = {
            option: value for option, value in options.items()
            if option not in WITHOUT_EFFECT and repr(value) != defaults.get(option)
        }  # fmt: skip
        key = (name, loaded.sha256, repr(given), repr(sorted(asked.items())))
        if key not in RESULTS:
            RESULTS[key] = method(loaded, *given, **asked)
        return RESULTS[key]

    return call
