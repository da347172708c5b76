"""Keys that are known but not computed yet: refused, since a limit that is silently ignored is worse than none.

Take an entry out as soon as the program keeps it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from stager.config.problem import Problem

NOT_YET: Mapping[str, tuple[str, ...]] = {
    "feed.push": (),
}
"""By key, the values that are refused; none: all of them."""
INSTEAD = {"feed.push": "leave it out, and describe the pusher in [feed.pusher]"}


def refuse(raw: Mapping[str, Any]) -> Iterator[Problem]:
    """Problems of the keys that stand in the file but would have no effect."""
    for key, values in NOT_YET.items():
        table, name = key.split(".")
        found = raw.get(table)
        if not isinstance(found, Mapping) or name not in found or (values and found[name] not in values):
            continue
        what = f'"{found[name]}" is' if values else "is"
        message = f"{what} not kept yet, so it is refused rather than ignored"
        yield Problem((table, name), message, INSTEAD.get(key, "leave it out"))
