"""Measured throws beside what a configuration expects of them."""

from __future__ import annotations

from typing import Any

import numpy as np

from stager.fit.observations import Observations
from stager.report.digits import MISSING, listing, plural, signed, speed
from stager.report.table import Column, Table


def rows(points: Observations) -> list[dict[str, Any]]:
    """Throws as the document has them, in the order of the table."""
    throws = points.throws
    return [
        {
            "line": int(throws.line[k]), "throw": throws.order[k], "build": str(throws.build[k]),
            "wheel_speed_m_s": points.side_a[k, -1], "wheel_speed_b_m_s": points.side_b[k, -1],
            "speeds_before_m_s": points.side_a[k, :-1], "exit_speed_m_s": throws.exit_speed[k],
            "expected_exit_speed_m_s": points.expected[k], "difference_fraction": difference,
        }
        for k, difference in enumerate(points.difference)
    ]  # fmt: skip


def median(points: Observations) -> float | None:
    """Difference that half of the throws are below [-]; None where no throw has one."""
    known = points.difference[np.isfinite(points.difference)]
    return float(np.median(known)) if known.size else None


def table(points: Observations) -> Table:
    """One row a throw, slowest wheels first."""
    throws, before = points.throws, points.side_a.shape[1] - 1
    columns = (
        Column("throw"), Column("build", words=True), Column("before", "m/s"), Column("wheel", "m/s"),
        Column("measured", "m/s"), Column("expected", "m/s"), Column("difference"),
    )  # fmt: skip
    lines = tuple(
        (
            f"{throws.order[k]:g}", str(throws.build[k]) or MISSING,
            ", ".join(_setting(points, k, stage) for stage in range(before)) or MISSING, _setting(points, k, before),
            _exit(throws.exit_speed[k]), _exit(points.expected[k]), signed(points.difference[k]),
        )
        for k in np.lexsort((throws.order, *points.side_a.T))
    )  # fmt: skip
    return Table("Measured throws, and what the configuration expects of them", columns, lines).without_empty(MISSING)


def notes(points: Observations, drawn: int) -> list[str]:
    """The difference in a sentence, jams, builds, and throws that the picture leaves out."""
    throws, middle = points.throws, median(points)
    measured, expected = throws.exit_speed > 0, points.expected > 0
    said = []
    if middle is not None:
        known = points.difference[np.isfinite(points.difference)]
        low, high = np.quantile(known, [0.25, 0.75])
        half = f"; half of them between {signed(low)} and {signed(high)}" if known.size > 3 else ""
        said.append(
            f"Measured exit speed differs from what the configuration expects by {signed(middle)} in the median"
            f" ({plural(known.size, 'throw')}{half})."
        )
    for count, words in (
        ((~measured & expected).sum(), "jammed where the configuration expects none to"),
        ((measured & ~expected).sum(), "got through where the configuration expects a jam"),
        ((~measured & ~expected).sum(), "jammed as expected"),
    ):
        if count:
            said.append(f"{plural(int(count), 'throw')} {words}.")
    left = int(measured.sum()) - drawn
    if left:
        said.append(f"Not in the picture: {plural(left, 'throw')} with the other wheels set otherwise.")
    if len(throws.builds) > 1:
        said.append(f"Builds shown as one: {listing(list(throws.builds))}; --build shows one alone.")
    return said


def _setting(points: Observations, k: int, stage: int) -> str:
    side_a, side_b = float(points.side_a[k, stage]), float(points.side_b[k, stage])
    return speed(side_a) if side_a == side_b else f"{speed(side_a)}:{speed(side_b)}"


def _exit(value: float) -> str:
    return speed(value) if value > 0 else "jam"
