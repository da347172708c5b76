"""Render the page from its templates, and the configuration's inputs as tables."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from stager.config import Configuration
from stager.errors import printable
from stager.report.answer import Column, Table
from stager.report.page import views, whatif
from stager.report.page.data import ReportData
from stager.report.page.gallery import by_section
from stager.units import Measured


def page(data: ReportData) -> str:
    """Return one HTML file that needs no other file and no network, with a script only for its sliders."""
    response = None if data.response is None or data.contradictions else whatif.tables(data.response, data)
    script = Markup(_text("whatif.js")) if response is not None else None
    found = environment().get_template("page.html").render(
        data=data, view=views.view(data), figures=by_section(data), inputs=inputs(data.configuration),
        response=response,
        style=Markup(_text("page.css")), script=script, policy=_policy(script),
    )  # fmt: skip
    return f"{found}\n"


@cache
def environment() -> Environment:
    """Return the templates of this package, with autoescape."""
    return Environment(
        loader=PackageLoader("stager.report.page"), autoescape=True, undefined=StrictUndefined, finalize=_showable,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip


def _showable(value: object) -> object:
    """Return text with control and direction characters escaped, "" for None."""
    if value is None:
        return ""
    return "\n".join(map(printable, value.split("\n"))) if type(value) is str else value


def _text(name: str) -> str:
    return (files("stager.report.page") / "templates" / name).read_text(encoding="utf-8")


def _policy(script: str | None) -> str:
    """Return the content security policy: own styles, own script by its hash, nothing from elsewhere."""
    own = "" if script is None else f" script-src 'sha256-{_hash(script)}';"
    return f"default-src 'none';{own} style-src 'unsafe-inline'; img-src data:"


def _hash(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


COLUMNS = (
    Column("key", words=True), Column("as written", words=True), Column("read as"), Column("± standard uncertainty"),
    Column("unit", words=True),
)  # fmt: skip


def inputs(configuration: Configuration) -> list[Table]:
    """Return a table of values as written and as read for each part of the file; defaults are marked."""
    known = {**configuration.quantities, **_requirements(configuration)}
    written = dict(_leaves(configuration.tree, ""))
    keys = [*written, *(key for key in known if key not in written and not _inside(key, written))]
    parts = dict.fromkeys(key.partition(".")[0] for key in keys if "." in key)
    found = []
    for part in parts:
        inside = [key for key in keys if key.partition(".")[0] == part and "." in key]
        rows = tuple(_input_row(key, part, written.get(key), known.get(key)) for key in inside)
        found.append(Table(f"[{part}]", COLUMNS, rows))
    return found


def _requirements(configuration: Configuration) -> dict[str, Measured]:
    """Return the values of limits and goal by key; they are not among the quantities of the launcher."""
    parts = {"limits": configuration.file.limits, "goal": configuration.file.goal}
    found = ((f"{part}.{name}", value) for part, table in parts.items() for name, value in table)
    return {key: value for key, value in found if isinstance(value, Measured)}


def _input_row(key: str, part: str, written: Any, known: Measured | None) -> tuple[str, ...]:
    name = key.removeprefix(f"{part}.")
    text = "(default)" if written is None else _input_text(written)
    if known is None:
        return (name, text, "", "", "")
    spread = f"{known.standard_uncertainty:.6g}" if known.standard_uncertainty else ""
    return (name, text, f"{known.value:.10g}", spread + (" (between limits)" if known.rectangular else ""), known.unit)


def _inside(key: str, written: Mapping[str, Any]) -> bool:
    """Whether a quantity is part of a key that is written as one, as a set speed for both sides is."""
    return any(key.startswith((f"{whole}.", f"{whole}_b")) for whole in written)


def _leaves(value: Any, key: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _leaves(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list) and value:
        for number, inner in enumerate(value, 1):
            yield from _leaves(inner, f"{key}.{number}")
    else:
        yield key, value


def _input_text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)
