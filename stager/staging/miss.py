"""Why no design fits, and what would help."""

from __future__ import annotations

from collections.abc import Sequence

from stager.hardware.scenario import Scenario
from stager.staging.aims import exit_cap
from stager.staging.records import Missed, Relaxation, Settings
from stager.staging.relax import Reach, conflict, relaxations

OUT_OF_REACH = " Without these limits and with six stages more it is not reached either."


def miss(scenario: Scenario, climbed: Sequence[Settings], bound: float | None = None) -> Missed:
    """What to say where none of the best settings of each stage count will do.

    bound: exit speed that no setting within the limits exceeds [m/s], None: not known.
    """
    fits = [found for found in climbed if found.feasible]
    asked = scenario.goal.exit_speed
    if not fits or asked is None:
        return _from_the_start(climbed[0])
    nearest = max(fits, key=lambda found: found.exit_speed)
    most = exit_cap(scenario) if bound is None else min(exit_cap(scenario), bound)
    reach = Reach(scenario, asked, nearest.count)
    names = conflict(reach, nearest)
    reason = _reason(asked, nearest.exit_speed, most) + ("" if names else OUT_OF_REACH)
    return Missed(
        reason=reason, proven=most < asked, nearest=nearest, conflict=names,
        relaxations=relaxations(reach, nearest, names) if names else (),
    )  # fmt: skip


def _reason(asked: float, nearest: float, most: float) -> str:
    close = f"the nearest leaves at {nearest:.4g} m/s"
    if most < asked:
        return f"No design reaches {asked:.4g} m/s: the limits let out {most:.4g} m/s at most; {close}."
    return f"None found that reaches {asked:.4g} m/s, which does not prove that there is none; {close}."


def _from_the_start(fed: Settings) -> Missed:
    """Where the projectile breaks limits as it is fed."""
    broken = [verdict for verdict in fed.verdicts if verdict.slack < 0]
    names = tuple(verdict.name for verdict in broken)
    words = ", ".join(name.replace("_", " ") for name in names)
    needed = tuple(
        Relaxation(name=one.name, unit=one.unit, allowed=float(one.allowed), needed=None if len(broken) > 1 else
                   float(one.used), together=float(one.used))
        for one in broken
    )  # fmt: skip
    reason = f"No design keeps the limits: already as it is fed it breaks {words}."
    return Missed(reason=reason, proven=True, nearest=None, conflict=names, relaxations=needed)
