"""Examples in docstrings give what they say, and every public function of the interface has one."""

from __future__ import annotations

import doctest
import importlib
import inspect
from pathlib import Path

import pytest

import stager
from stager.api import loaded
from tests.sharing import share_fits

ROOT = Path(__file__).parents[2]
WITH_EXAMPLES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in (ROOT / "stager").rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)
WITHOUT = {"files", "source", "watch", "report", "save_plan", "save_fit"}
"""What takes or returns files and sessions is tested with files; see tests/report and tests/bench."""


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_give_what_they_say(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    share_fits(monkeypatch)
    monkeypatch.chdir(ROOT)
    module = importlib.import_module(name)
    launcher = stager.load("configs/seed_ball.toml")
    names = {"stager": stager, "launcher": launcher, "throws": launcher.read_throws("configs/seed_ball_throws.csv")}
    done = doctest.testmod(module, extraglobs=names, optionflags=doctest.IGNORE_EXCEPTION_DETAIL)
    assert done.attempted > 0
    assert done.failed == 0


def test_every_public_function_has_an_example() -> None:
    public = {name: value for name, value in vars(stager.Loaded).items() if inspect.isfunction(value)}
    methods = [value for name, value in public.items() if not name.startswith("_") and name not in WITHOUT]
    functions = (*methods, loaded.load, loaded.build)
    without = [function.__name__ for function in functions if ">>> " not in (function.__doc__ or "")]
    assert without == []
