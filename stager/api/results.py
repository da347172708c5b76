"""Results that show themselves: the records of the core with what it takes to put them into words and pictures."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, TypeVar

from stager.calibrate.answers import Contrast, Learned
from stager.calibrate.planning import Next
from stager.errors import InputError
from stager.limits import Design, Verdict
from stager.physics.records import Throw
from stager.report.table import Screen
from stager.staging.records import Plan
from stager.staging.sweep import Sweep

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.calibrate.points import Points
    from stager.calibrate.table import Throws
    from stager.calibrate.tuning import Tuned
    from stager.report.answer import Answer
    from stager.report.figures import Picture

Kind = TypeVar("Kind")


class Shown:
    """What every result can do: a screen in a notebook or in print, a document of plain values, pictures."""

    __slots__ = ()

    @abstractmethod
    def answer(self) -> Answer:
        """What the command line answers."""

    def document(self) -> Mapping[str, Any]:
        """What the command line writes with --json."""
        return self.answer().document

    def pictures(self) -> list[Picture]:
        """Pictures of it, the most telling one first."""
        return []

    def picture(self, name: str = "") -> Picture:
        """One picture, by name or the first. Raises InputError where there is none."""
        pictures = self.pictures()
        found = next((one for one in pictures if not name or one.name == name), None)
        if found is None:
            known = ", ".join(one.name for one in pictures) or "none"
            raise InputError(f'there is no picture "{name}"', hint=f"there are: {known}")
        return found

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {(self.answer().screen or Screen('')).headline}>"

    def __str__(self) -> str:
        from stager.report.shown import text

        return text(self.answer().screen or Screen(""))

    def _repr_html_(self) -> str:
        from stager.report.shown import markup

        return markup(self.answer().screen or Screen(""), self.pictures())


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class PlanResult(Shown, Plan):
    """A plan."""

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager plan` answers."""
        from stager.report import plan

        return plan.answer(self.loaded.scenario.launcher, self, self.loaded.source())

    def pictures(self) -> list[Picture]:
        """Ladder, side view, speed along the barrel, margins, energy."""
        from stager.report.dossier import Dossier
        from stager.report.page import gallery

        loaded = self.loaded
        told = Dossier(
            configuration=loaded.configuration, scenario=loaded.scenario, source=loaded.source(), plan=self
        )  # fmt: skip
        found = (gallery.ladder, gallery.launcher, gallery.barrel, gallery.limits, gallery.energy)
        return [picture for draw in found if (picture := draw(told)) is not None]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class ThrowResult(Shown, Throw):
    """One throw."""

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager throw` answers."""
        from stager.report import throw

        return throw.answer(self.loaded.scenario.launcher, self, self.loaded.source())

    def pictures(self) -> list[Picture]:
        """Speed along the barrel, and where the energy goes; none after a jam."""
        from stager.report import throw
        from stager.report.figures import barrel, energy

        launcher = self.loaded.scenario.launcher
        rows = throw.stages(launcher, self)
        found = () if bool(self.jammed) else (barrel.picture(launcher, rows), energy.picture(launcher, rows))
        return [picture for picture in found if picture is not None]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SweepResult(Shown, Sweep):
    """A sweep; spread: its grip limit over the configuration's uncertainties; measured: throws beside it."""

    loaded: Loaded = field(repr=False, compare=False)
    spread: Tuned | None = None
    measured: Points | None = None

    def answer(self) -> Answer:
        """What `stager sweep` answers."""
        from stager.report import sweep
        from stager.report.spin import left_out

        launcher, goal = self.loaded.scenario.launcher, self.loaded.scenario.goal
        said = sweep.answer(launcher, self, self.loaded.source(), self.spread, self.measured)
        return left_out(said, goal)

    def pictures(self) -> list[Picture]:
        """The curve with its grip limit and the throws that belong to it."""
        from stager.report.figures.sweep import Curve, picture

        near = None if self.measured is None else self.measured.drawn(self.before_a, self.before_b)
        return [picture(Curve(sweep=self, tuned=self.spread, measured=near))]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class FitResult(Shown, Learned):
    """What measured throws have told."""

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager fit` answers."""
        from stager.report import fit
        from stager.report.spin import left_out

        said = fit.answer(self, self.loaded.configuration.quantities, self.loaded.source())
        return left_out(said, self.loaded.scenario.goal)

    def pictures(self) -> list[Picture]:
        """Parameters before and after, agreement, what is left over."""
        from stager.report.figures import learned
        from stager.report.measured import units_of

        units = units_of(self.fit.parameters, self.loaded.configuration.quantities)
        found = (learned.told(self.fit, units), learned.agreement(self.fit), learned.residuals(self.fit))
        return [picture for picture in found if picture is not None]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class CompareResult(Shown, Contrast):
    """Two builds compared."""

    loaded: Loaded = field(repr=False, compare=False)
    throws: Throws = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager compare` answers."""
        from stager.report import compare

        return compare.answer(self, self.throws, self.loaded.scenario.launcher, self.loaded.source())


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class NextResult(Shown, Next):
    """What to measure next."""

    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager next` answers."""
        from stager.report import suggest
        from stager.report.spin import left_out

        said = suggest.answer(self, self.loaded.scenario.launcher, self.loaded.source())
        return left_out(said, self.loaded.scenario.goal)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Checked(Shown):
    """A launcher at set speeds, and the verdict of every limit on it."""

    design: Design
    verdicts: tuple[Verdict, ...]
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


def shown(kind: type[Kind], record: Any, **more: Any) -> Kind:
    """A record of the core as the result that shows it."""
    return kind(**{one.name: getattr(record, one.name) for one in fields(record)}, **more)
