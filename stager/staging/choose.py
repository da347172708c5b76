"""Which of the settings is the plan; where none is, why, and what would help."""

from __future__ import annotations

from collections.abc import Sequence

from stager.hardware.scenario import Scenario
from stager.hardware.wish import Aim
from stager.limits import GEOMETRY, Design, Verdict, judge
from stager.staging.aims import exit_cap
from stager.staging.records import Relaxation, Settings
from stager.staging.still import idle

TIE, REACHED, BINDS = 1e-3, 5e-4, 1e-3


def choose(scenario: Scenario, climbed: Sequence[Settings]) -> tuple[Settings | None, str, tuple[Relaxation, ...]]:
    """The plan among the best settings of each stage count, or the reason why there is none and relaxations."""
    fits = [found for found in climbed if found.feasible]
    if not fits:
        broken = [verdict for verdict in climbed[0].verdicts if verdict.slack < 0]
        names = ", ".join(verdict.name.replace("_", " ") for verdict in broken)
        return None, f"No design keeps the limits: already as it is fed it breaks {names}.", _relax(broken)
    if scenario.goal.aim is Aim.FASTEST or scenario.goal.exit_speed is None:
        most = max(found.exit_speed for found in fits)
        return next(found for found in fits if found.exit_speed >= most * (1 - TIE)), "", ()
    asked = scenario.goal.exit_speed
    reaching = [found for found in fits if found.exit_speed >= asked * (1 - REACHED)]
    if reaching:
        return reaching[0], "", ()
    nearest = max(fits, key=lambda found: found.exit_speed)
    reason = f"None found that reaches {asked:.4g} m/s: the nearest leaves at {nearest.exit_speed:.4g} m/s."
    holding = [verdict for verdict in nearest.verdicts if abs(float(verdict.slack)) <= BINDS]
    return None, reason, _relax(holding, asked, scenario)


def binding(scenario: Scenario, best: Settings) -> frozenset[str]:
    """Names of the limits that hold it back; one on what is built does so where one more stage would break it."""
    held = {verdict.name for verdict in best.verdicts if abs(float(verdict.slack)) <= BINDS}
    return frozenset(held - {limit.name for limit in GEOMETRY} | set(broken_by(scenario, best.count + 1)))


def broken_by(scenario: Scenario, count: int) -> list[str]:
    """Names of the limits on what is built that so many stages break."""
    design = Design(launcher=scenario.launcher, allowances=scenario.allowances, throw=idle(count))
    found = [judge(limit, design) for limit in GEOMETRY]
    return [verdict.name for verdict in found if verdict is not None and verdict.slack < 0]


def _relax(
    holding: Sequence[Verdict], asked: float | None = None, scenario: Scenario | None = None
) -> tuple[Relaxation, ...]:
    """Limits on the throw itself that stand in the way, and what would do."""
    out = []
    for verdict in holding:
        needed = float(verdict.used)
        if asked is not None and scenario is not None:
            ratio = {"exit_energy": 2, "energy_per_area": 2, "toy": 2, "exit_speed": 1}.get(verdict.name)
            if ratio is None:
                continue
            needed = float(verdict.allowed) * (asked / exit_cap(scenario)) ** ratio
        out.append(Relaxation(name=verdict.name, unit=verdict.unit, allowed=float(verdict.allowed), needed=needed))
    return tuple(out)
