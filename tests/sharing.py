"""Spare slow work: share results between tests that ask the same, and take few draws where any number will do."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields
from inspect import signature
from typing import Any

import pytest

from stager.api import Loaded
from stager.fit import fitting, posterior, prediction
from stager.fit.posterior import Fit
from stager.fit.table import Throws
from stager.model.launcher import Scenario
from stager.optimise import robust

WITHOUT_EFFECT = ("progress", "workers")
"""Options on which no result depends."""
RESULTS: dict[tuple[str, ...], Any] = {}
"""Results by method, hash of the configuration, arguments, options and number of draws."""
FITS: dict[Any, tuple[Fit, Any]] = {}
"""Fits by what they are of, and the state in which they leave their generator."""
PLAN_DEFAULTS: dict[str, Any] = Loaded.plan.__kwdefaults__
FIT_DEFAULTS: dict[str, Any] = posterior.posterior.__kwdefaults__


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
        key = (name, loaded.sha256, repr(given), repr(sorted(asked.items())), str(prediction.DRAWS))
        if key not in RESULTS:
            RESULTS[key] = method(loaded, *given, **asked)
        return RESULTS[key]

    return call


def share_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fit once what fit, next, sweep and bench rest on.

    Only `fit` asks for words about a fit, which change nothing else: they are looked for at once.
    """

    def shared(
        scenario: Scenario, throws: Throws, rng: Any, *, progress: Any = None, words: bool = True, **more: Any
    ) -> Fit:
        told = [getattr(scenario, one.name) for one in fields(scenario) if one.name != "realise"]
        key = pickle.dumps((told, throws, rng.bit_generator.state, more, FIT_DEFAULTS))
        if key not in FITS:
            FITS[key] = fit(scenario, throws, rng, **more), rng.bit_generator.state
        found, rng.bit_generator.state = FITS[key]
        return found

    fit = fitting.fit
    monkeypatch.setattr(fitting, "fit", shared)


@contextmanager
def few_draws() -> Iterator[None]:
    """Take a quarter of the draws, or fewer: for tests of what is written about them, not of what they say."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(prediction, "DRAWS", 100)
        patch.setattr(robust, "MARGIN_DRAWS", 250)
        patch.setattr(robust, "FIRST_DRAWS", 100)
        patch.setitem(PLAN_DEFAULTS, "draws", 40)
        patch.setitem(FIT_DEFAULTS, "enough", 250.0)
        yield
