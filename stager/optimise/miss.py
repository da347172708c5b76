"""Why no design fits, and what would help."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stager.constraints import LimitResult
from stager.model.scenario import Scenario
from stager.optimise.aims import exit_cap
from stager.optimise.records import Missed, Relaxation, Settings
from stager.optimise.relax import Reach, conflict, relaxations
from stager.optimise.span import span
from stager.optimise.spun import most_spin

TURN = 2 * np.pi

OUT_OF_REACH = " Without these limits and with six stages more it is not reached either."


def miss(scenario: Scenario, climbed: Sequence[Settings], bound: float | None = None, *, proven: bool = True) -> Missed:
    """What to say where none of the best settings of each stage count will do.

    bound: exit speed that no setting within the limits exceeds [m/s], None: not known; proven: whether it is, or in
    part evidence.
    """
    fits = [found for found in climbed if found.feasible]
    asked = scenario.goal.exit_speed
    if not fits and scenario.goal.spin and not _broken(climbed[0]):
        return _unspun(scenario, climbed, scenario.goal.spin)
    if not fits or asked is None:
        return _from_the_start(climbed[0])
    nearest = max(fits, key=lambda found: found.exit_speed)
    cap = exit_cap(scenario)
    most = cap if bound is None or (not proven and cap < asked) else min(cap, bound)
    reach = Reach(scenario, asked, nearest.count)
    names = conflict(reach, nearest)
    sure = proven or cap < asked
    reason = _reason(asked, nearest.exit_speed, most, sure) + ("" if names else OUT_OF_REACH)
    return Missed(
        reason=reason, proven=sure and most < asked, nearest=nearest, conflict=names,
        relaxations=relaxations(reach, nearest, names) if names else (),
    )  # fmt: skip


def _reason(asked: float, nearest: float, most: float, sure: bool) -> str:
    close = f"the nearest leaves at {nearest:.4g} m/s"
    if most < asked and not sure:
        return f"None found that reaches {asked:.4g} m/s, and all but proven that there is none; {close}."
    if most < asked:
        return f"No design reaches {asked:.4g} m/s: the limits let out {most:.4g} m/s at most; {close}."
    return f"None found that reaches {asked:.4g} m/s, which does not prove that there is none; {close}."


def _from_the_start(fed: Settings) -> Missed:
    """Where the projectile breaks limits as it is fed."""
    broken = _broken(fed)
    names = tuple(verdict.name for verdict in broken)
    words = ", ".join(name.replace("_", " ") for name in names)
    needed = tuple(
        Relaxation(name=one.name, unit=one.unit, allowed=float(one.bound), needed=None if len(broken) > 1 else
                   float(one.value), together=float(one.value))
        for one in broken
    )  # fmt: skip
    reason = f"No design keeps the limits: already as it is fed it breaks {words}."
    return Missed(reason=reason, proven=True, nearest=None, conflict=names, relaxations=needed)


def _broken(settings: Settings) -> list[LimitResult]:
    return [verdict for verdict in settings.verdicts if not verdict.satisfied]


def _unspun(scenario: Scenario, climbed: Sequence[Settings], spin: float) -> Missed:
    """Where no setting with the spin that is asked for was found within the limits."""
    turned = [found for found in climbed if found.turns and found.count]
    asked = f"{spin / TURN:.4g} rev/s"
    if turned:
        nearest = min(turned, key=lambda found: sum(-float(one.slack) for one in _broken(found)))
        names = tuple(verdict.name for verdict in _broken(nearest))
        reason = f"None found that spins at {asked} within the limits, which does not prove that there is none."
        return Missed(reason=reason, proven=False, nearest=nearest, conflict=names)
    top = float(np.max(span(scenario.launcher, scenario.limit_values, 0).top))
    most = np.copysign(most_spin(scenario.launcher, top), spin) / TURN
    reason = (
        f"No design is found that spins at {asked}: the first stage makes the spin and gives {most:.3g} rev/s at most"
        + (", with no margin to its grip limit." if scenario.limit_values.grip_margin else ".")
    )
    return Missed(reason=reason, proven=False, nearest=None)
