"""Wheel speeds of a chain in lanes."""

from __future__ import annotations

from dataclasses import dataclass

from stager.model.arrays import Floats

Row = tuple[Floats, ...]


@dataclass(frozen=True, slots=True)
class Settings:
    """Surface speeds of each stage [m/s], every entry of shape (lanes,) or (1,).

    side_a; side_b, None where both sides run alike; held_a, held_b: what the throttles would hold, None where that
    is how fast the wheels are.
    """

    side_a: Row
    side_b: Row | None = None
    held_a: Row | None = None
    held_b: Row | None = None

    def chosen(self, group: list[int]) -> Settings:
        """Those of the stages in `group`."""
        rows = (self.side_a, self.side_b, self.held_a, self.held_b)
        picked = [None if row is None else tuple(row[k] for k in group) for row in rows]
        return Settings(picked[0] or (), *picked[1:])

    def of_a(self, k: int) -> tuple[Floats, Floats]:
        """Speed of side A of stage `k` and what its throttle would hold."""
        return self.side_a[k], self.side_a[k] if self.held_a is None else self.held_a[k]

    def of_b(self, k: int) -> tuple[Floats, Floats]:
        """Likewise of side B."""
        speed = self.side_a[k] if self.side_b is None else self.side_b[k]
        if self.held_b is not None:
            return speed, self.held_b[k]
        if self.held_a is not None and self.side_b is None:
            return speed, self.held_a[k]
        return speed, speed
