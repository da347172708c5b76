"""The configuration as it was read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from stager.config import Configuration
from stager.report.table import Column, Table
from stager.units import Measured

COLUMNS = (
    Column("key", words=True), Column("as written", words=True), Column("read as"), Column("± standard uncertainty"),
    Column("unit", words=True),
)  # fmt: skip


def inputs(configuration: Configuration) -> list[Table]:
    """A table for each part of the file; what it leaves to defaults is said to be so."""
    known = {**configuration.quantities, **_wishes(configuration)}
    written = dict(_leaves(configuration.raw, ""))
    keys = [*written, *(key for key in known if key not in written and not _inside(key, written))]
    parts = dict.fromkeys(key.partition(".")[0] for key in keys if "." in key)
    found = []
    for part in parts:
        mine = sorted((key for key in keys if key.partition(".")[0] == part and "." in key), key=keys.index)
        rows = tuple(_row(key, part, written.get(key), known.get(key)) for key in mine)
        found.append(Table(f"[{part}]", COLUMNS, rows))
    return found


def _wishes(configuration: Configuration) -> dict[str, Measured]:
    """Limits and goal, which are no quantities of the launcher."""
    parts = {"limits": configuration.file.limits, "goal": configuration.file.goal}
    found = ((f"{part}.{name}", value) for part, table in parts.items() for name, value in table)
    return {key: value for key, value in found if isinstance(value, Measured)}


def _row(key: str, part: str, written: Any, known: Measured | None) -> tuple[str, ...]:
    name = key.removeprefix(f"{part}.")
    text = "(default)" if written is None else _text(written)
    if known is None:
        return (name, text, "", "", "")
    spread = f"{known.standard_uncertainty:.6g}" if known.standard_uncertainty else ""
    return (name, text, f"{known.value:.10g}", spread + (" (between limits)" if known.rectangular else ""), known.unit)


def _inside(key: str, written: Mapping[str, Any]) -> bool:
    """Whether a quantity is part of something that is written whole, as a set speed for both sides."""
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


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)
