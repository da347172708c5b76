"""From a scenario to a plan."""

from __future__ import annotations

from stager.hardware.scenario import Scenario
from stager.staging.choose import binding, choose
from stager.staging.climb import climb
from stager.staging.ladder import recommend, rungs
from stager.staging.records import Plan


def plan(scenario: Scenario) -> Plan:
    """The best number of stages and wheel speeds, the ladder of stage counts, and the verdict."""
    climbed = climb(scenario)
    ladder = rungs(scenario, climbed)
    best, reason, relaxations = choose(scenario, climbed)
    recommended, verdict = recommend(ladder, scenario.goal, None if best is None else best.count)
    return Plan(
        best=best, ladder=ladder, recommended_stages=recommended, verdict=verdict, reason=reason,
        binding=frozenset() if best is None else binding(best), relaxations=relaxations,
    )  # fmt: skip
