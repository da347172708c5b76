"""The crush of the stages, found on maps along with the wheel speeds, then looked at in the true model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from stager.model.arrays import Floats
from stager.model.scenario import Scenario
from stager.optimise.aims import aimed_speed, asks_speed, task
from stager.optimise.catalogue import Parts, crush_of, ranged_over, rounded
from stager.optimise.chain_map import CLEAR, ChainMap
from stager.optimise.choice import COOLER, FAVOUR, Choice, best_of, run_up
from stager.optimise.choose import REACHED, TIE
from stager.optimise.climb import most_stages
from stager.optimise.crush_map import CrushMap
from stager.optimise.runup import Runner
from stager.optimise.shared import look_closely
from stager.optimise.solve import LEAST_SETTING, Task, solve

NODES, HALVINGS = 5, 4
STRAINED, CARES, BELIEVED = 0.95, (0.99, 0.998), 0.99
"""Shares of the peak acceleration that is allowed: where it matters, and what is kept to there, since a hair more crush
may let nothing through and maps are off by more, until a design beside it was looked at; the share of what they
promise that must come true to go on."""
REACH = 0.7
"""How far wheels may go from a design about which shared limits are known [ln]."""


@dataclass(frozen=True, slots=True)
class Press:
    """Ends between which the crush is searched [m], and maps for crushes from one to the other."""

    low: float
    high: float
    nodes: Sequence[ChainMap]


@dataclass(frozen=True, slots=True)
class Pressed:
    """What the maps have best: the crush of each stage [m], wheel settings and places of the crush as in `CrushMap`,
    exit speed [m/s], slip heat [J], share of the peak acceleration that is allowed."""

    crushes: tuple[float, ...]
    point: Floats
    exit_speed: float
    slip_heat: float
    strain: float


def finer(scenario: Scenario, runner: Runner, base: Choice) -> tuple[list[Choice], tuple[float, float] | None]:
    """`base` at the best crush for all stages, then with a crush of its own for each, as far as the maps promise
    something, looked at closely; and the ends between which it was searched [m], None where it was not."""
    most = most_stages(base.scenario)
    ends = _ends(scenario, runner, base) if most else None
    if ends is None:
        return [], None
    press = Press(*ends, _nodes(scenario, runner, base, ends, most))
    out: list[Choice] = []
    alike: dict[int, Floats] = {}
    for shared in (True, False):
        if shared and len({parts[:2] for parts in base.parts}) > 1:
            continue
        for care in (None, *CARES):
            found = _search(press, base, _counts(base, most, shared), shared, care, alike)
            if shared:
                alike |= {len(one.crushes): one.point for one in found}
            best = _fewest(scenario, found)
            if care is None and (best is None or best.strain > STRAINED):
                continue
            if best is None or not _promises(best, base, shared):
                break
            choice = run_up(scenario, runner, _parts(base, best.crushes)).climb()
            out.append(choice)
            base = best_of([base, choice])
            if care is None or choice.nearest < best.exit_speed * BELIEVED:
                break
    return out, ends


def _parts(base: Choice, crushes: Sequence[float]) -> tuple[Parts, ...]:
    """The parts of `base` at another crush; one where all are alike."""
    given = [base.parts[min(k, len(base.parts) - 1)] for k in range(len(crushes))]
    parts = tuple(Parts(part.wheel, part.drive, crush) for part, crush in zip(given, crushes, strict=True))
    return parts[:1] if len(set(parts)) == 1 else parts


def _ends(scenario: Scenario, runner: Runner, base: Choice) -> tuple[float, float] | None:
    """Least and greatest crush [m] at which stages pass the projectile on one by one; None: that of `base` is none.

    Where neighbours hold it together, nothing is known of a stage on its own, and a look takes minutes.
    """
    stages = [scenario.launcher.stage(k) for k in range(scenario.limit_values.stages)]
    asked = ranged_over(stages)
    crushes = [crush_of(stage, base.parts[min(k, len(base.parts) - 1)]) for k, stage in enumerate(stages)]

    def passes(crush: float) -> bool:
        exits = run_up(scenario, runner, _parts(base, [crush] * len(stages))).exits
        return len(exits) > 1 and max(exits) < np.inf

    def farthest(good: float, end: float) -> float:
        for _ in range(HALVINGS if not passes(end) else 0):
            middle = (good + end) / 2
            good, end = (middle, end) if passes(middle) else (good, middle)
        return end if passes(end) else good

    if asked is None or max(base.exits) == np.inf or not passes(crushes[0]):
        return None
    return farthest(crushes[0], asked[0]), farthest(crushes[0], asked[1])


def _nodes(scenario: Scenario, runner: Runner, base: Choice, ends: tuple[float, float], most: int) -> list[ChainMap]:
    """Maps at crushes from end to end, all for entries up to what may come in at any of them."""
    aimed, found = aimed_speed(scenario), []
    for crush in np.linspace(*ends, NODES):
        found.append(run_up(scenario, runner, _parts(base, [float(crush)] * most)))
    entry = min(CLEAR * aimed, max(max(choice.exits) for choice in found))
    spin, limit_values = scenario.goal.spin, scenario.limit_values
    return [ChainMap(choice.scenario.launcher, limit_values, most, aimed, spin, entry) for choice in found]


def _counts(base: Choice, most: int, shared: bool) -> list[int]:
    """Numbers of stages worth a look: as many as may be, those of `base`, one less. Where `base` does all that is asked
    for, fewer could be better, or as many with less heat if that takes no crush of its own for each."""
    if base.best is None:
        return [most]
    count = base.best.count
    if base.best.exit_speed >= aimed_speed(base.scenario) * (1 - REACHED):
        return [few for few in ((count - 1, count) if shared else (count - 1,)) if few > 0]
    return sorted({few for few in (count - 1, count, most) if 0 < few <= most})


def _search(
    press: Press, base: Choice, counts: Sequence[int], shared: bool, care: float | None, alike: Mapping[int, Floats]
) -> list[Pressed]:
    """The best crush for each number of stages on the maps; care: share of the peak acceleration to keep to, None: all
    of it, which hardly matters; alike: what is best with one crush for all, by number of stages: one for each is looked
    for from there too."""
    out: list[Pressed] = []
    for count in counts:
        chains, size = CrushMap(press.nodes, count, smooth=care is None), count + (1 if shared else count)
        aim = _task(base, chains, count, care or 1.0)
        guesses = [None, *(_longer(one.point) for one in out[-1:] if not shared and len(one.crushes) == count - 1)]
        tried = [found for guess in guesses if (found := solve(chains, size, aim, guess=guess)) is not None]
        start = None if shared or count not in alike else _each(alike[count])
        if start is not None and (found := solve(chains, size, aim, start)) is not None:
            tried.append(found)
        if not tried:
            continue
        best = max(tried, key=lambda found: found.objective)
        run = chains.run(best.point[None], aim.correction.grip)
        place = np.broadcast_to((best.point[count:] - LEAST_SETTING) / (1 - LEAST_SETTING), count)
        crushes = press.low + place * (press.high - press.low)
        pressed = Pressed(
            crushes=tuple(rounded(float(crush), press.low, press.high) for crush in crushes), point=best.point,
            exit_speed=float(run.exit_speed[0, -1]) * aim.correction.exit_speed,
            slip_heat=float(run.slip_heat.sum()) * aim.correction.slip_heat,
            strain=float((run.peak_acceleration[0] * aim.correction.peak).max()) / aim.strain,
        )  # fmt: skip
        out.append(pressed)
    return out


def _each(point: Floats) -> Floats:
    """Settings with a crush of its own for each stage where all had one."""
    return np.concatenate([point, np.full(point.size - 2, point[-1])])


def _longer(point: Floats) -> Floats:
    """Settings with one more stage behind, with a wheel at the most that is open to it and the crush of the last."""
    wheels, places = np.split(point, 2)
    return np.concatenate([wheels, [1.0], places, places[-1:]])


def _task(base: Choice, chains: CrushMap, count: int, care: float) -> Task:
    """What chains must keep, as far as `base` has shown it for as many stages; care: share of the peak acceleration."""
    aim, known = task(base.scenario), base.climbed
    aim = replace(aim, strain=aim.strain * care)
    if known is None or known.chains is None or len(known.climbers) < count:
        return aim
    aim = replace(aim, correction=known.climbers[count - 1].task.correction)
    law = look_closely(base.scenario, known.chains, known.settings[count].lead)
    if law is None:
        return aim
    here = replace(law, foreteller=replace(law.foreteller, chains=chains))
    return replace(aim, extra=partial(here.slacks, reach=REACH))


def _fewest(scenario: Scenario, found: Sequence[Pressed]) -> Pressed | None:
    """The one that a plan would be, of those for different numbers of stages in rising order."""
    if not found:
        return None
    most, share = max(one.exit_speed for one in found), TIE
    if asks_speed(scenario.goal) and most >= aimed_speed(scenario) * (1 - REACHED):
        most, share = aimed_speed(scenario), REACHED
    return next(one for one in found if one.exit_speed >= most * (1 - share))


def _promises(found: Pressed, base: Choice, shared: bool) -> bool:
    """Whether it is clearly faster than `base`, takes fewer stages, or is the same for all and makes less heat."""
    if base.best is None:
        return True
    gain = found.exit_speed / base.best.exit_speed - 1
    if gain > (FAVOUR if shared or len(set(base.parts)) > 1 else TIE):
        return True
    if gain < -TIE:
        return False
    heat = float(base.best.throw.stages.slip_heat.sum())
    return len(found.crushes) < base.best.count or (shared and found.slip_heat < COOLER * heat)
