"""A check that shows itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar

from stager.api.results.shown import Shown
from stager.constraints import LimitResult, OperatingPoint

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.report.answer import Answer


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Checked(Shown):
    """A launcher at set speeds, and the verdict of every limit on it."""

    ROWS: ClassVar[str] = "limits"

    design: OperatingPoint
    verdicts: tuple[LimitResult, ...]
    loaded: Loaded = field(repr=False, compare=False)

    @property
    def kept(self) -> bool:
        """Whether it throws, and keeps every limit."""
        return self.answer().yes

    def answer(self) -> Answer:
        """What `stager check` answers."""
        from stager.report import check
        from stager.report.spin import compared

        said = check.answer(self.design, self.verdicts, self.loaded.source())
        return compared(said, self.loaded.scenario.goal)
