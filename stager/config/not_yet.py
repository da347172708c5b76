"""Keys that are known but not computed yet: refused, since a limit that is silently ignored is worse than none.

Take an entry out as soon as the program keeps it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from stager.config.problem import Problem

NOT_YET: Mapping[str, tuple[str, ...]] = {
    "goal.spin": (),
    "goal.aim": ("steadiest",),
    "stage.wheel_options": (),
    "stage.drive_options": (),
    "feed.push": (),
}
"""By key, the values that are refused; none: all of them. A key of [stage] counts in [[stages]] as well."""


def refuse(raw: Mapping[str, Any]) -> Iterator[Problem]:
    """Problems of the keys that stand in the file but would have no effect."""
    for key, values in NOT_YET.items():
        table, name = key.split(".")
        for path, found in _tables(raw, table):
            if name not in found or (values and found[name] not in values):
                continue
            what = f'"{found[name]}" is' if values else "is"
            yield Problem((*path, name), f"{what} not kept yet, so it is refused rather than ignored", "leave it out")


def _tables(raw: Mapping[str, Any], name: str) -> list[tuple[tuple[str | int, ...], Mapping[str, Any]]]:
    found: list[tuple[tuple[str | int, ...], Any]] = [((name,), raw.get(name))]
    stages = raw.get("stages")
    if name == "stage" and isinstance(stages, list):
        found += [(("stages", number), stage) for number, stage in enumerate(stages)]
    return [(path, table) for path, table in found if isinstance(table, Mapping)]
