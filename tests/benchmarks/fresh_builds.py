"""Count how many plans and pieces of advice keep all hard limits in as many fresh builds as asked for.

Run as `python -m tests.benchmarks.fresh_builds [LAUNCHERS] [FIRST]`; each line is one drawn launcher, the last two the
sums. Advice is a first session without throws, then, after eight throws of a drawn build, the fit's recommended speed
and what to measure next; each is held against 2 000 fresh draws of what is known then.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np

import stager
from stager.fit.prediction import Ensemble, after, before
from stager.model.arrays import Floats
from tests.optimise.builds import CONFIGS, FRESH, drawn_changes, fresh, share_broken
from tests.recovery.bench import Plan, measure, table


def main(count: int = 50, first: int = 0) -> int:
    """Plan and advise `count` drawn launchers from number `first` on; 1 where limits are kept too rarely."""
    judged, short, pieces, bad = 0, 0, 0, 0
    for number in range(first, first + count):
        rng = np.random.default_rng([13, number])
        name, changes = drawn_changes(rng)
        one = stager.load(CONFIGS / f"{name}.toml").replace(changes)
        asked = one.scenario.limit_values.confidence
        shares = _advice(one.replace({"limits.stages": 1}), rng)
        pieces, bad = pieces + len(shares), bad + sum(share > 1 - asked for share in shares)
        told = f"{len(shares)} pieces of advice, broken in {max(shares, default=0.0):.1%} at most (asked {asked:.0%})"
        plan = one.plan(draws=40)
        if plan.best is None or plan.best.count == 0 or plan.margin.unkeepable:
            print(f"{number:3d} {name}: {told}; {plan.verdict}", flush=True)
            continue
        found = fresh(one.scenario, plan.best)
        judged, short = judged + 1, short + (found.kept < asked)
        print(
            f"{number:3d} {name}: {told}; {plan.best.count} stages, {plan.best.exit_speed:.2f} m/s, kept in "
            f"{found.kept:.1%} of builds, jams in {found.jams:.1%}",
            flush=True,
        )
    print(f"{judged} plans judged, {short} keep their limits in fewer builds than asked for")
    print(f"{pieces} pieces of advice, {bad} break a hard limit in more draws than asked for")
    return int(short + bad > 0)


def _advice(one: Any, rng: np.random.Generator) -> list[float]:
    """Shares of fresh draws that break a hard limit, for every setting advised."""
    scenario = one.scenario
    known = before(scenario, np.random.default_rng(99), FRESH)
    session = [np.asarray(throw.wheel_speed) for throw in one.next(table(np.zeros((0, 1)), np.zeros(0)), count=8).plan]
    shares = _shares(known, session)
    if len(session) < 4:
        return shares
    build = 1 + int(rng.integers(FRESH))
    truth = scenario.realise({key: float(values[build]) for key, values in known.values.items()})
    throws = measure(scenario, truth, np.array(session), Plan(noise=0.01, throws=len(session), outliers=0.0), rng)
    if len(throws.exit_speed) < 4:
        return shares
    fitted, advised = one.fit(throws), one.next(throws)
    settings = [np.array([stage.wheel_speed]) for stage in fitted.recommended if stage.wheel_speed is not None][:1]
    settings += [np.asarray(throw.wheel_speed) for throw in advised.plan]
    return shares + _shares(after(fitted.fit, np.random.default_rng(99), FRESH), settings)


def _shares(known: Ensemble, settings: list[Floats]) -> list[float]:
    return [share_broken(known, setting) for setting in settings]


if __name__ == "__main__":
    sys.exit(main(*(int(text) for text in sys.argv[1:3])))
