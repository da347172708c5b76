"""Stage by stage: what no setting within the limits exceeds."""

from __future__ import annotations

from dataclasses import dataclass
from time import monotonic

import numpy as np

from stager.hardware.scenario import Scenario
from stager.physics.relay import free_runs
from stager.staging.aims import asks_speed, exit_cap
from stager.staging.certificate.boxes import Question, explore
from stager.staging.certificate.entries import after_run, feed_entries, speeds_up_to
from stager.staging.certificate.margin import GRIP_EVIDENCE, capped
from stager.staging.certificate.stages import enclosure
from stager.staging.foretold import COUPLED
from stager.staging.span import span

TOLERANCE, SECONDS = 1e-4, 6.0
STRAIN_SEEN = 1e-3
"""Share of its peak acceleration that a throw may hide between two of its steps [-]."""
ROUNDING = 1e-6
"""Limits count as kept to a millionth of what they allow."""
LEFT_OUT = frozenset({*COUPLED, "slip_heat"})
"""Limits that stages share: a bound without them holds with them too."""


@dataclass(frozen=True, slots=True)
class Bound:
    """No wheel speeds within the limits, both of a pair alike, throw faster, to integration tolerance.

    speeds: by number of stages, from 0, as far as they are bounded [m/s]; cap: what limits on the throw allow [m/s];
    missing: which stages there is no bound of but that, empty where all are bounded; evidence: which part is numerical
    evidence, empty where all is proven; asked: exit speed that is wanted, where it is not the greatest [m/s].
    """

    speeds: tuple[float, ...]
    cap: float
    missing: str = ""
    evidence: str = ""
    asked: float | None = None

    @property
    def speed(self) -> float:
        """Of all allowed numbers of stages [m/s]."""
        return self.cap if self.missing else max(self.speeds)


def bound(scenario: Scenario, most: int, *, seconds: float = SECONDS, tolerance: float = TOLERANCE) -> Bound:
    """Bound the exit speed of every setting of up to `most` stages.

    Limits that a stage keeps by itself narrow what is bounded; those that stages share are left out, so the bound may
    lie farther off than it need. seconds: about how long it may take; tolerance: see Question.
    """
    cap = exit_cap(scenario) * (1 + ROUNDING)
    speeds = [float(scenario.launcher.feed.speed)]
    fastest, missing, looked = speeds[0], "", False
    # Behind as many stages as reach the cap no more need be known: nothing may leave faster.
    while len(speeds) <= most and 0.0 < fastest < cap:
        index = len(speeds) - 1
        task = _task(scenario, index, fastest, cap, tolerance, seconds / most)
        if isinstance(task, str):
            missing = task
            break
        looked = looked or bool(scenario.allowances.grip_margin)
        fastest = explore(task).bound
        speeds.append(min(fastest, cap))
    asked = scenario.goal.exit_speed if asks_speed(scenario.goal) else None
    return Bound(tuple(speeds), cap, missing, GRIP_EVIDENCE if looked and not missing else "", asked)


def _task(
    scenario: Scenario, index: int, fastest: float, cap: float, tolerance: float, seconds: float
) -> Question | str:
    """What to ask of stage `index` where none comes out of the one before faster than `fastest` [m/s], or of what
    there is no bound."""
    launcher, allowances = scenario.launcher, scenario.allowances
    enclose = enclosure(launcher, launcher.stage(index))
    if enclose is None:
        return "stages other than pairs of driven wheels"
    run = _least_run(scenario, index) if index else 0.0
    if run < 0:
        return "stages that hold the projectile together"
    entries = speeds_up_to(after_run(launcher, fastest, run)) if index else feed_entries(fastest)
    top = float(span(launcher, allowances, index).top) * (1 + ROUNDING)
    tops = np.full(entries.low.size, top)
    if allowances.grip_margin:
        tops = capped(launcher, index, entries, top, allowances.grip_margin)
    return Question(enclose, entries, tops, _strain(scenario), cap, tolerance, monotonic() + seconds)


def _least_run(scenario: Scenario, index: int) -> float:
    """Shortest free run before stage `index` [m]: wheels grow with speed, and contacts with them."""
    launcher = scenario.launcher
    tops = [np.atleast_1d(span(launcher, scenario.allowances, k).top) for k in (index - 1, index)]
    return float(free_runs(launcher, index + 1, np.maximum(*tops))[index - 1][0])


def _strain(scenario: Scenario) -> float:
    known = [scenario.allowances.acceleration, scenario.launcher.projectile.max_acceleration]
    return min((float(value) for value in known if value is not None), default=np.inf) * (1 + STRAIN_SEEN)
