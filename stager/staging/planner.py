"""From a scenario to a plan."""

from __future__ import annotations

import numpy as np

from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario
from stager.hardware.wish import Aim
from stager.limits import GEOMETRY, Design, judge, verdicts
from stager.limits.limit import Verdict
from stager.physics.chain import length, throw
from stager.physics.options import QUICK, Options
from stager.physics.records import Throw
from stager.physics.relay import overlapping
from stager.physics.stretch import blank
from stager.staging.grip import grip_limit
from stager.staging.joint import JointSearch
from stager.staging.ladder import recommend, rungs
from stager.staging.records import Plan, Relaxation, Settings
from stager.staging.search import ChainSearch, Search
from stager.staging.span import span

TIE = 1e-3
BINDS = 3e-3
JUDGED = Options(tolerance=2e-6)
REACHED = 5e-4


def plan(scenario: Scenario) -> Plan:
    """The best number of stages and wheel speeds, the ladder of stage counts, and the verdict."""
    climbed = climb(scenario)
    ladder = rungs(scenario, climbed)
    best, reason, relaxations = _choose(scenario, climbed)
    recommended, verdict = recommend(ladder, scenario.goal, None if best is None else best.count)
    binding = frozenset() if best is None else _binding(best)
    return Plan(
        best=best, ladder=ladder, recommended_stages=recommended, verdict=verdict, reason=reason,
        binding=binding, relaxations=relaxations,
    )  # fmt: skip


def exit_cap(scenario: Scenario) -> float:
    """Greatest exit speed that the limits on the throw allow [m/s]."""
    projectile, allowances = scenario.launcher.projectile, scenario.allowances
    energies = [allowances.exit_energy]
    if allowances.energy_per_area is not None:
        energies.append(allowances.energy_per_area * float(projectile.frontal_area))
    cap = float(np.sqrt(2 * min(energies) / projectile.mass))
    return cap if allowances.exit_speed is None else min(cap, allowances.exit_speed)


def aimed_speed(scenario: Scenario) -> float:
    """Exit speed beyond which no design is asked for [m/s]: the cap, or the goal's where that is less."""
    goal = scenario.goal
    cap = exit_cap(scenario)
    return cap if goal.aim is Aim.FASTEST or goal.exit_speed is None else min(cap, goal.exit_speed)


def climb(scenario: Scenario) -> list[Settings]:
    """The best settings for 0, 1, 2 … stages, as many as what is built may hold and as get the projectile through."""
    launcher, allowances = scenario.launcher, scenario.allowances
    most = _most(scenario)
    top = np.atleast_1d(span(launcher, allowances, 0).top)
    together = most > 1 and overlapping(launcher, most, top)
    search: Search = JointSearch(scenario) if together else ChainSearch(scenario)
    chains = [np.zeros(0)]
    for count in range(1, most + 1):
        speeds = _speeds(scenario, search, count)
        if speeds is None:
            break
        chains.append(speeds)
        if _reached(scenario, speeds):
            break
    return judged(scenario, chains)


def _reached(scenario: Scenario, speeds: Floats) -> bool:
    """Whether a chain leaves as fast as it may or as it is asked to: more stages cannot add to that."""
    return float(throw(scenario.launcher, speeds, options=QUICK).exit_speed) >= aimed_speed(scenario) * (1 - REACHED)


def _idle(count: int) -> Throw:
    """No throw at all, through `count` stages: what is built can be judged on it."""
    still = np.zeros(())
    return Throw(stages=blank(count), exit_speed=still, spin=still, jammed=np.zeros((), bool))


def _most(scenario: Scenario) -> int:
    """How many stages the limits on what is built leave room for."""
    for count in range(scenario.allowances.stages + 1):
        idle = Design(launcher=scenario.launcher, allowances=scenario.allowances, throw=_idle(count))
        found = [verdict for limit in GEOMETRY if (verdict := judge(limit, idle)) is not None]
        if any(verdict.slack < 0 for verdict in found):
            return count - 1
    return scenario.allowances.stages


def _speeds(scenario: Scenario, search: Search, count: int) -> Floats | None:
    speeds = search.fastest(count)
    if speeds is None:
        return None
    target = aimed_speed(scenario)
    done: Throw | None = throw(scenario.launcher, speeds, options=JUDGED)
    if done is not None and float(done.exit_speed) > target:
        speeds = search.reaching(count, target)
        done = None if speeds is None else throw(scenario.launcher, speeds, options=JUDGED)
    heat = scenario.allowances.slip_heat
    if heat is None or done is None or float(done.stages.slip_heat.sum()) <= heat:
        return speeds
    return search.within_heat(count, heat, target)


def judged(scenario: Scenario, chains: list[Floats]) -> list[Settings]:
    """Chains at their wheel speeds [m/s], each of shape (stages,), with the verdicts of all limits."""
    launcher, allowances = scenario.launcher, scenario.allowances
    throws = [throw(launcher, speeds, options=JUDGED) for speeds in chains]
    found = []
    for speeds, done, grips in zip(chains, throws, _grips(scenario, throws), strict=True):
        design = Design(launcher=launcher, allowances=allowances, throw=done, grip_limit=grips)
        found.append(
            Settings(
                wheel_speed=speeds, throw=done, exit_speed=float(done.exit_speed), grip_limit=grips,
                verdicts=tuple(verdicts(design)), length=float(length(launcher, speeds.size)),
            )
        )  # fmt: skip
    return found


def _grips(scenario: Scenario, throws: list[Throw]) -> list[Floats]:
    """Grip limit of each stage of each chain at its own entry speed; equal stages are looked at together."""
    launcher, allowances = scenario.launcher, scenario.allowances
    places = [(number, k) for number, done in enumerate(throws) for k in range(done.stages.grip.size)]
    out = [np.full(done.stages.grip.size, np.nan) for done in throws]
    kinds: dict[int, list[tuple[int, int]]] = {}
    for number, k in places:
        if throws[number].stages.entry_speed[k] > 0:
            kinds.setdefault(id(launcher.stage(k)), []).append((number, k))
    for group in kinds.values():
        speed = np.array([throws[number].stages.entry_speed[k] for number, k in group])
        spin = np.array([throws[number].stages.entry_spin[k] for number, k in group])
        top = np.broadcast_to(span(launcher, allowances, group[0][1]).top, speed.shape)
        limit = grip_limit(launcher, group[0][1], speed, spin, top)
        for (number, k), value in zip(group, limit.wheel_speed, strict=True):
            out[number][k] = value
    return out


def _binding(best: Settings) -> frozenset[str]:
    return frozenset(verdict.name for verdict in best.verdicts if abs(float(verdict.slack)) <= BINDS)


def _choose(scenario: Scenario, climbed: list[Settings]) -> tuple[Settings | None, str, tuple[Relaxation, ...]]:
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


def _relax(
    holding: list[Verdict], asked: float | None = None, scenario: Scenario | None = None
) -> tuple[Relaxation, ...]:
    """Limits on the throw itself that stand in the way, and what would do."""
    out = []
    for verdict in holding:
        needed = float(verdict.used)
        if asked is not None and scenario is not None:
            ratio = {"exit_energy": 2, "energy_per_area": 2, "exit_speed": 1}.get(verdict.name)
            if ratio is None:
                continue
            needed = float(verdict.allowed) * (asked / exit_cap(scenario)) ** ratio
        out.append(Relaxation(name=verdict.name, unit=verdict.unit, allowed=float(verdict.allowed), needed=needed))
    return tuple(out)
