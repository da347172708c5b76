"""A throw that shows itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from stager.api.results.shown import Shown
from stager.physics.records import Throw

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.report.answer import Answer
    from stager.report.figures import Picture


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class ThrowResult(Shown, Throw):
    """One throw."""

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager throw` answers."""
        from stager.report import throw

        return throw.answer(self.loaded.scenario.launcher, self, self.loaded.source(), self.loaded.flown(self))

    def pictures(self) -> list[Picture]:
        """Speed along the barrel, and where the energy goes; none after a jam."""
        from stager.report import throw
        from stager.report.figures import barrel, energy

        launcher = self.loaded.scenario.launcher
        rows = throw.stages(launcher, self)
        found = () if bool(self.jammed) else (barrel.picture(launcher, rows), energy.picture(launcher, rows))
        return [picture for picture in found if picture is not None]
