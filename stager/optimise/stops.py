"""Which limits stop a further stage, or keep it from adding much."""

from __future__ import annotations

from collections.abc import Sequence

from stager.constraints import GEOMETRY
from stager.model.scenario import Scenario
from stager.optimise.choose import BINDS, broken_by
from stager.optimise.records import Settings

OF_EACH_STAGE = frozenset(("grip_margin", "crush", *(limit.name for limit in GEOMETRY)))
"""What a stage is held to, whatever the others do, or what it is built to."""


def stops(scenario: Scenario, climbed: Sequence[Settings]) -> tuple[tuple[str, ...], ...]:
    """Names of the limits by stages below, 0, 1, 2 …: those at their allowance, or beyond it, in the best settings
    with one stage more; above the last, those on what is built that forbid it.

    climbed: the best settings for 0, 1, 2 … stages.
    """
    return (*(_at_their_limit(above) for above in climbed[1:]), tuple(broken_by(scenario, len(climbed))))


def _at_their_limit(settings: Settings) -> tuple[str, ...]:
    tight = (verdict.name for verdict in settings.verdicts if float(verdict.slack) <= BINDS)
    return tuple(name for name in tight if name not in OF_EACH_STAGE)
