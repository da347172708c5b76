"""Results of measured throws that show themselves: fit, comparison, next throws."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar

from stager.api.results import Shown
from stager.fit.compare import Contrast
from stager.fit.experiment_design import Next
from stager.fit.prediction import Learned

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.fit.table import Throws
    from stager.report.answer import Answer
    from stager.report.figures import Picture

@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class FitResult(Shown, Learned):
    """What measured throws have told."""

    ROWS: ClassVar[str] = "parameters"

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager fit` answers."""
        from stager.report import fit
        from stager.report.throw import left_out

        said = fit.answer(self, self.loaded.configuration.quantities, self.loaded.source())
        return left_out(said, self.loaded.scenario.goal)

    def pictures(self) -> list[Picture]:
        """Parameters before and after, agreement, what is left over."""
        from stager.report.figures import of_fit
        from stager.report.fit import units_of

        units = units_of(self.fit.parameters, self.loaded.configuration.quantities)
        found = (of_fit.told(self.fit, units), of_fit.agreement(self.fit), of_fit.residuals(self.fit))
        return [picture for picture in found if picture is not None]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class CompareResult(Shown, Contrast):
    """Two builds compared."""

    ROWS: ClassVar[str] = "settings"

    loaded: Loaded = field(repr=False, compare=False)
    throws: Throws = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager compare` answers."""
        from stager.report import compare

        return compare.answer(self, self.throws, self.loaded.scenario.launcher, self.loaded.source())


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class NextResult(Shown, Next):
    """What to measure next."""

    ROWS: ClassVar[str] = "plan"

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager next` answers."""
        from stager.report import next_throws
        from stager.report.throw import left_out

        said = next_throws.answer(self, self.loaded.scenario.launcher, self.loaded.source())
        return left_out(said, self.loaded.scenario.goal)
