"""Where in a file a key stands, for errors that come up after it was read."""

from __future__ import annotations

from stager.config.configuration import Configuration
from stager.config.lines import Path, key_lines, line_of
from stager.config.problem import dotted


def speed_of(configuration: Configuration, stage: int) -> str:
    """`file:line: key` of the set speed of a stage, counted from 0: its own, else that of [stage]; where there is
    none, the table that lacks it."""
    entries = configuration.raw.get("stages", [])
    own = stage < len(entries) and "speed" in entries[stage]
    path: Path = ("stages", stage, "speed") if own else ("stage", "speed")
    return f"{configuration.path}:{line_of(key_lines(configuration.text), path)}: {dotted(path)}"
