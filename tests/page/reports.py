"""Reports for tests, planned once per session, with few draws.

Title, file name and build contain markup to test escaping.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import stager
from stager.api.documents import Report
from tests.sharing import few_draws

ROOT = Path(__file__).parents[2]
TITLE = "</title><script>alert('title')</script><img src=x onerror=alert(1)> $\\frac{1}{0}$ & \"so\" \u202eon"
FILE = 'we<b>ird\' & "name".toml'
BUILD = "<script>alert('build')</script>"
CHANGES = {
    "title": "'''" + TITLE + "'''",
    "stages": "2",
    "rate": '"4 /s"',
    "session": '"3 min"',
}
THROWS = f"""throw,build,wheel_1 [rpm],wheel_2 [rpm],exit_speed [m/s],supply [V],note
1,"{BUILD}",2200,,8.66,14.8,<b>bold</b>
2,"{BUILD}",2600,,10.21,14.8,
3,"{BUILD}",2900,,11.43,14.8,
4,"{BUILD}",3000,,11.71,14.8,
5,"{BUILD}",3100,,12.12,14.8,
6,"{BUILD}",2600,,8.15,14.8,slipped by hand
7,"{BUILD}",3300,,12.72,14.8,
8,"{BUILD}",3103,3800,15.92,14.8,
9,"{BUILD}",3103,4100,17.21,14.8,
10,"{BUILD}",3103,4250,17.74,14.8,
11,"{BUILD}",3103,4400,18.24,14.8,
"""


def with_values(text: str, **values: str) -> str:
    """Return configuration text with other values; missing keys are inserted at the start of [feed]."""
    lines = text.splitlines()
    for key, value in values.items():
        places = [i for i, line in enumerate(lines) if line.partition("=")[0].strip() == key]
        if places:
            lines[places[0]] = f"{key} = {value}"
        else:
            lines.insert(lines.index("[feed]") + 1, f"{key} = {value}")
    return "\n".join(lines) + "\n"


@lru_cache
def folder() -> Path:
    """Return a temporary directory that exists until the tests end."""
    made = tempfile.TemporaryDirectory()
    _FOLDERS.append(made)
    return Path(made.name)


_FOLDERS: list[tempfile.TemporaryDirectory[str]] = []


@lru_cache
def configuration() -> Path:
    """Write the seed-ball launcher with two stages and a title with markup; return the path."""
    path = folder() / FILE
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    path.write_text(with_values(text, **CHANGES), encoding="utf-8")
    return path


@lru_cache
def throws() -> Path:
    """Write a table of throws, one of them an outlier; return the path."""
    path = folder() / "throws <i>.csv"
    path.write_text(THROWS, encoding="utf-8")
    return path


@lru_cache
def with_throws() -> Report:
    """Return the report with throws."""
    loaded = stager.load(configuration())
    with few_draws():
        return loaded.report(loaded.read_throws(throws()))


@lru_cache
def without_throws() -> Report:
    """Return the report without throws."""
    with few_draws():
        return stager.load(configuration()).report()


@lru_cache
def infeasible() -> Report:
    """Return a report of a goal that no design reaches."""
    path = folder() / "none.toml"
    text = (ROOT / "configs" / "seed_ball.toml").read_text(encoding="utf-8")
    path.write_text(with_values(text, stages="1", aim='"reach"\nexit_speed = "16 m/s"'), encoding="utf-8")
    with few_draws():
        return stager.load(path).report()


@lru_cache
def html(make: Callable[[], Report]) -> str:
    """Return the page of a report above."""
    return make().html()


@lru_cache
def page() -> Path:
    """Write the page with throws; return the path."""
    path = folder() / "page.html"
    with_throws().save(path)
    return path
