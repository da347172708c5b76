"""How a transit is integrated."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Accuracy of the integrator.

    tolerance: local error of a step, relative to speed squared and to speeds [-];
    steps: fixed number of steps a segment instead of error control, for measuring the order;
    books: gather works, heats and contact time too (off: they are 0, about a sixth less work).
    """

    tolerance: float = 1e-7
    steps: int | None = None
    books: bool = True


DEFAULT = Options()
QUICK = Options(tolerance=1e-4, books=False)
"""For searching: exit speeds good to about 1e-5."""

SURE = Options(tolerance=1e-5, books=False)
"""For learning: jams are told too. Looser steps can carry a projectile past its standstill before fast wheels."""
