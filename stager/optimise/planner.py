"""From a scenario to a plan."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from stager.bounds import BUDGETS, Bound, bound, shared
from stager.model.requirements import Aim
from stager.model.scenario import Scenario
from stager.optimise.aims import asks_speed
from stager.optimise.choose import binding, choose
from stager.optimise.climb import most_stages
from stager.optimise.early import Early
from stager.optimise.front import Against, front
from stager.optimise.ladder import rungs
from stager.optimise.loosen import BUILT
from stager.optimise.miss import miss
from stager.optimise.odds import begin
from stager.optimise.pick import pick
from stager.optimise.price import one_more, prices
from stager.optimise.records import Plan, Settings
from stager.optimise.robust import robust
from stager.optimise.steady import steadiest
from stager.optimise.stops import stops
from stager.optimise.verdict import advise
from stager.parallel import Executor

DRAWS = 400
WORTHLESS = 1e-5


def silent(share: float) -> None:
    """Progress that nobody watches."""


def plan(
    scenario: Scenario, *, draws: int = DRAWS, rng: np.random.Generator | None = None, certified: bool = True,
    progress: Callable[[float], None] = silent, executor: Executor | None = None,
    trade: Against | None = None, sturdy: bool = False,
) -> Plan:  # fmt: skip
    """The best parts, number of stages and wheel speeds, the ladder of stage counts, and the verdict.

    draws: launchers drawn for the ladder's intervals and probabilities, 0: none; rng: what draws them;
    certified: bound what any setting could reach; progress: takes the share that is done;
    executor: who works on draws and fronts, None: this process; trade: what a front is drawn against;
    sturdy: also robust settings.
    """
    executor = executor or Executor()
    early = Early(scenario, executor)
    picked = pick(scenario, early.seen if certified else None)
    scenario, found = picked.scenario, picked.climbed
    climbed = found.settings
    best, spread, before = choose(scenario, climbed), None, None
    if scenario.goal.aim is Aim.STEADIEST and best is not None:
        best, spread, before = steadiest(scenario, found, np.random.default_rng(1))
    reached = 0.0 if best is None else best.exit_speed
    proving = early.begun or (executor.submit(bound, scenario, most_stages(scenario), reached) if certified else None)
    generator = np.random.default_rng(0) if rng is None else rng
    drawing = begin(scenario, climbed, draws, generator, executor) if draws else None
    progress(0.3)
    bought = {} if best is None else prices(scenario, found, best)
    beyond = 0.0 if best is None or asks_speed(scenario.goal) else one_more(scenario, found, best)
    # What rungs take is found while others draw, and kept.
    rungs(scenario, climbed)
    sharing = None if proving is None else _sharpening(scenario, executor, proving(), best)
    chances = drawing() if drawing else None
    progress(0.6)
    ladder = rungs(scenario, climbed, chances)
    proof = None if sharing is None else sharing()
    progress(0.9)
    missed = None
    if best is None:
        missed = miss(
            scenario, climbed, None if proof is None else proof.speed, proven=proof is None or not proof.evidence
        )
    advice = advise(ladder, scenario.goal, None if best is None else best.count, chances, stops(scenario, climbed))
    held = frozenset() if best is None else binding(scenario, best)
    return Plan(
        best=best, ladder=ladder, recommended_stages=advice.stages, verdict=advice.sentence, missed=missed,
        binding=frozenset(name for name in held if (beyond if name in BUILT else bought.get(name, 1.0)) > WORTHLESS),
        prices=bought, one_more_stage=beyond if held & BUILT else None,
        open_stage=advice.open_stage, settled_by=advice.settled_by, catalogue=picked.catalogue, bound=proof,
        spread=spread, spread_before=before,
        robust=robust(scenario, best, np.random.default_rng(2)) if sturdy and best is not None else None,
        front=None if trade is None else front(scenario, found, ladder, trade, executor),
    )  # fmt: skip


def _sharpening(scenario: Scenario, executor: Executor, known: Bound, best: Settings | None) -> Callable[[], Bound]:
    """The bound under what stages share, begun; as it is where they share nothing that is scarce."""
    if best is None:
        return executor.submit(shared, scenario, known, None, None)
    if known.asked is None and not binding(scenario, best) & BUDGETS:
        return lambda: known
    return executor.submit(shared, scenario, known, best.exit_speed, best.count)
