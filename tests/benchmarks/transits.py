"""Time of transits against solve_ivp and against a serial Numba kernel of the same scheme; growth and memory.

Single transits of both are run one by one at different speeds; their mean is compared.
"""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from functools import partial
from time import perf_counter

import numpy as np

from stager.model.launcher import Launcher
from stager.model.projectile import ROD
from stager.model.stage import IDLER, RAIL
from stager.physics.chain import Options, throw
from stager.physics.friction import Falling
from stager.physics.rate import settled
from tests.benchmarks.kernel import throws
from tests.benchmarks.timing import Line, exponent, medians
from tests.drive.machines import launcher as driven
from tests.oracle.throw import throw as reference_throw
from tests.physics.machines import launcher

ACCURACY = 1e-5
STAGES = (1, 4, 8)
SINGLES = 20
LAW = Falling(0.7, 0.2, 9.0)


def machine() -> Launcher:
    """Return a launcher with two light wheels and falling friction; values are invented."""
    return launcher(inertia=4e-5, crush=2e-3, law=LAW)


def speeds(samples: int, stages: int) -> np.ndarray:
    """Return surface speeds [m/s] that rise from stage to stage."""
    first = np.random.default_rng(1).uniform(8.0, 25.0, (samples, 1))
    return first * (1 + 0.1 * np.arange(stages))


def tolerance(run, reference: np.ndarray, choices: tuple[float, ...]) -> float:
    """Return the loosest choice whose greatest error is within ACCURACY."""
    for choice in choices:
        if np.max(np.abs(run(choice) / reference - 1)) <= ACCURACY:
            return choice
    raise ValueError("none of the tolerances is accurate enough")


def lines() -> list[Line]:
    """Return the rows of the table."""
    one, sample = machine(), speeds(60, 1)
    exact = throw(one, sample, options=Options(tolerance=1e-11)).exit_speed
    choices = tuple(float(choice) for choice in 10.0 ** np.arange(-3.0, -7.05, -0.1))

    def ours(values: np.ndarray, choice: float) -> np.ndarray:
        return throw(one, values, options=Options(tolerance=choice, energies=False)).exit_speed

    def slow(values: np.ndarray, choice: float) -> np.ndarray:
        return np.array([reference_throw(one, list(row), tolerance=choice).exit_speed for row in values])

    fine = tolerance(partial(ours, sample), exact, choices)
    fine_kernel = tolerance(lambda choice: throws(one, sample[:, 0], choice)[0], exact, choices)
    _same_work(one, sample)
    fine_slow = tolerance(partial(slow, sample[:20]), exact[:20], choices)
    many, singles = speeds(10_000, 1), speeds(SINGLES, 1)
    alone, reference = medians(lambda: [ours(single, fine) for single in singles], lambda: slow(singles, fine_slow))
    batch, kernel = medians(lambda: ours(many, fine), lambda: throws(one, many[:, 0], fine_kernel), clock=perf_counter)
    alone, each = alone / len(singles), reference / len(singles)
    ivp, clocked = "solve_ivp (LSODA, in time)", "10 000 transits, each, by the clock"
    return [
        Line(clocked, batch / 1e4, ivp, 1e4 * each / batch, "≥ 800", 1e4 * each / batch >= 800),
        Line("1 transit", alone, ivp, each / alone, "≥ 100", each / alone >= 100),
        Line(clocked, batch / 1e4, "serial Numba kernel", kernel / batch, "≥ 1.7", kernel >= 1.7 * batch),
        *_kinds(), *_settling(), *_growth(fine), _memory(fine),
    ]  # fmt: skip


def _kinds() -> list[Line]:
    """Return rows on transits of each layout at the usual tolerance, CPU time of one core."""
    found = []
    rod = replace(machine().projectile, shape=ROD, length=0.05)
    for name, one in {
        "pair": launcher(inertia=4e-5, crush=2e-3, creep=0.15, law=LAW),
        "rail": launcher(layout=RAIL, inertia=4e-5, crush=2e-3, creep=0.15, law=LAW),
        "idler": launcher(layout=IDLER, inertia=4e-5, crush=2e-3, creep=0.15, law=LAW),
        "rod in two nips": replace(machine(), projectile=rod, template=replace(machine().template, pitch=0.05)),
    }.items():
        stages = 2 if "two" in name else 1
        values = speeds(2_000, stages)
        (taken,) = medians(partial(throw, one, values, options=Options(tolerance=ACCURACY)))
        found.append(Line(f"{name}, each transit", taken / values.size, "", float("nan"), "", True))
    return found


def _settling() -> list[Line]:
    """Return rows on the steady state of two stages at eight throws per second, CPU time: a batch, and one alone."""
    one, many = driven(), 10.0 * np.random.default_rng(1).uniform(0.8, 1.1, (2_000, 2))
    options = Options(tolerance=ACCURACY)
    firsts = throw(one, many, options=options), throw(one, many[0], options=options)
    all_of_them, single = medians(
        lambda: settled(one, 8.0, many, first=firsts[0], options=options),
        lambda: settled(one, 8.0, many[0], first=firsts[1], options=options),
    )
    each = all_of_them / len(many)
    return [
        Line("settled state, one of 2 000", each, "1 ms", 1e-3 / each, "≥ 1", each <= 1e-3),
        Line("settled state, alone", single, "", float("nan"), "", True),
    ]


def _same_work(one: Launcher, sample: np.ndarray) -> None:
    """Check that the kernel computes the same quantities, so that times of equal work are compared."""
    stages = throw(one, sample, options=Options(tolerance=1e-7, energies=False)).stages
    ours = stages.exit_speed, stages.peak_acceleration, stages.least_slip
    for mine, its in zip(ours, throws(one, sample[:, 0], 1e-7), strict=True):
        np.testing.assert_allclose(its, mine[:, 0], rtol=1e-3, atol=1e-6)


def _growth(choice: float) -> list[Line]:
    run = partial(throw, machine(), options=Options(tolerance=choice, energies=False))
    sizes = [12_000, 36_000, 96_000]
    by_samples = medians(*(partial(run, speeds(size, 1)) for size in sizes))
    by_stages = medians(*(partial(run, speeds(12_000, count)) for count in STAGES))
    samples, stages = exponent(sizes, by_samples), exponent(list(STAGES), by_stages)
    asked = "0.95–1.05"
    return [
        Line("96 000 transits", by_samples[-1], "exponent in samples", samples, asked, 0.95 <= samples <= 1.05),
        Line("12 000 throws of 8 stages", by_stages[-1], "exponent in stages", stages, asked, 0.95 <= stages <= 1.05),
    ]


def _memory(choice: float) -> Line:
    """Return a row on peak memory beyond the result per transit, of 96 000 against 24 000."""
    beyond = []
    for samples in (24_000, 96_000):
        values = speeds(samples, 4)
        tracemalloc.start()
        done = throw(machine(), values, options=Options(tolerance=choice, energies=False))
        current, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        beyond.append((peak - current) / samples)
        del done
    ratio = beyond[1] / beyond[0]
    return Line("memory beyond the result", float("nan"), "96 000 / 24 000 samples", ratio, "≤ 1.2", ratio <= 1.2)
