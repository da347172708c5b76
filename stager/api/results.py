"""Results that show themselves: as text, in a notebook, as rows for data frames, as pictures."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from stager.constraints import LimitResult, OperatingPoint
from stager.errors import InputError
from stager.fit.compare import Contrast
from stager.fit.experiment_design import Next
from stager.fit.prediction import Learned
from stager.optimise.records import Plan
from stager.optimise.sweep import Sweep
from stager.physics.records import Throw
from stager.report.answer import Screen

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.constraints.recommend import Recommended
    from stager.fit.grip_ensemble import Tuned
    from stager.fit.prediction import Observations
    from stager.fit.table import Throws
    from stager.optimise.judge import Judgements
    from stager.report.answer import Answer
    from stager.report.figures import Picture

Kind = TypeVar("Kind")


class Shown:
    """What every result can do: a screen in a notebook or in print, a document of plain values, pictures."""

    __slots__ = ()
    ROWS: ClassVar[str] = "stages"
    """Key of the document under which the main table stands."""

    @abstractmethod
    def answer(self) -> Answer:
        """What the command line answers."""

    def document(self) -> Mapping[str, Any]:
        """What the command line writes with --json."""
        return self.answer().document

    def to_rows(self) -> list[dict[str, Any]]:
        """Return its main table as records of plain values, SI units in the keys, as data frames take them."""
        return table_rows(self.document(), self.ROWS)

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
        from stager.report.terminal import plain_text

        return plain_text(self.answer().screen or Screen(""))

    def _repr_html_(self) -> str:
        from stager.report.terminal import html_text

        return html_text(self.answer().screen or Screen(""), self.pictures())


def table_rows(document: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    """Return the rows under a dotted `key` of a document: a list of records, records by name, or equal columns."""
    found: Any = document
    for part in key.split("."):
        found = found[part]
    if isinstance(found, Mapping):
        return [{"name": name, **record} for name, record in found.items()]
    if found and not isinstance(found[0], Mapping):
        columns = {
            name: values for name, values in document.items() if isinstance(values, list) and len(values) == len(found)
        }
        return [dict(zip(columns, cells, strict=True)) for cells in zip(*columns.values(), strict=True)]
    return [dict(record) for record in found]


def shown(kind: type[Kind], record: Any, **more: Any) -> Kind:
    """A record of the core as the result that shows it."""
    return kind(**{one.name: getattr(record, one.name) for one in fields(record)}, **more)


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
        from stager.report.throw import compared

        said = check.answer(self.design, self.verdicts, self.loaded.source())
        return compared(said, self.loaded.scenario.goal)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SettingsResult(Shown):
    """Many settings, one a row of a table, and what the limits say of each."""

    ROWS: ClassVar[str] = "settings"

    settings: Throws
    judged: Judgements
    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """What `stager check --settings` answers."""
        from stager.report.check import settings_answer

        return settings_answer(self.loaded.scenario.launcher, self.settings, self.judged, self.loaded.source())

    def csv(self) -> str:
        """The table that was read with exit speed, verdict, least slack and the limit that has it in each row."""
        from stager.report.check import settings_csv

        return settings_csv(self.settings, self.judged)


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
        from stager.report.figures import of_throw

        launcher = self.loaded.scenario.launcher
        rows = throw.stages(launcher, self)
        if bool(self.jammed):
            return []
        found = (of_throw.speed_picture(launcher, rows), of_throw.energy_picture(launcher, rows))
        return [picture for picture in found if picture is not None]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SweepResult(Shown, Sweep):
    """A sweep; recommended: wheel speed to set; spread: grip limit over the configuration's uncertainties; measured:
    throws next to it."""

    ROWS: ClassVar[str] = "wheel_speed_m_s"

    loaded: Loaded = field(repr=False, compare=False)
    recommended: Recommended | None = None
    spread: Tuned | None = None
    measured: Observations | None = None

    def answer(self) -> Answer:
        """What `stager sweep` answers."""
        from stager.report import sweep
        from stager.report.throw import left_out

        launcher, goal = self.loaded.scenario.launcher, self.loaded.scenario.goal
        said = sweep.answer(launcher, self, self.loaded.source(), self.spread, self.measured, self.recommended)
        return left_out(said, goal)

    def pictures(self) -> list[Picture]:
        """The curve with its grip limit and the throws that belong to it."""
        from stager.report.figures.of_sweep import SweepCurve, sweep_picture

        near = None if self.measured is None else self.measured.drawn(self.before_a, self.before_b)
        limit = None if self.spread is None else self.spread.grip_limit
        return [sweep_picture(SweepCurve(sweep=self, grip_limit=limit, measured=near))]


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
        from stager.report.page.data import ReportData
        from stager.report.page.gallery import plan_pictures

        loaded = self.loaded
        data = ReportData(
            configuration=loaded.configuration, scenario=loaded.scenario, source=loaded.source(), plan=self
        )  # fmt: skip
        return list(plan_pictures(data))


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
