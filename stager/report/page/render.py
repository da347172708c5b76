"""Templates to HTML: whatever is not markup already is escaped, so nothing can be forgotten."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from stager.errors import printable
from stager.report.data import ReportData
from stager.report.page import views, whatif
from stager.report.page.gallery import by_section
from stager.report.page.inputs import inputs


def page(data: ReportData) -> str:
    """Return one HTML file that needs nothing else: no network, and a script only for its sliders."""
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
    """Templates of this package, all escaping."""
    return Environment(
        loader=PackageLoader("stager.report.page"), autoescape=True, undefined=StrictUndefined, finalize=_showable,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip


def _showable(value: object) -> object:
    """Text with its control and direction characters escaped; nothing for None."""
    if value is None:
        return ""
    return "\n".join(map(printable, value.split("\n"))) if type(value) is str else value


def _text(name: str) -> str:
    return (files("stager.report.page") / "templates" / name).read_text(encoding="utf-8")


def _policy(script: str | None) -> str:
    """Content security policy: own styles, own script by its hash, nothing from elsewhere."""
    own = "" if script is None else f" script-src 'sha256-{_hash(script)}';"
    return f"default-src 'none';{own} style-src 'unsafe-inline'; img-src data:"


def _hash(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
