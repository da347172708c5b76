"""What all results can do: print, show in a notebook, give rows for data frames and pictures; the throw."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from stager.errors import InputError
from stager.physics.records import Throw

if TYPE_CHECKING:
    from stager.api.loaded import Loaded
    from stager.report.answer import Answer
    from stager.report.figures import Picture

Kind = TypeVar("Kind")


class Shown:
    """A result that can be printed, shown in a notebook, and turned into JSON, rows and pictures."""

    __slots__ = ()
    ROWS: ClassVar[str] = "stages"
    """Key of the document under which the main table stands."""

    @abstractmethod
    def answer(self) -> Answer:
        """Return the answer that the command line gives."""

    def document(self) -> Mapping[str, Any]:
        """Return the document that the command line writes with --json."""
        return self.answer().document

    def to_rows(self) -> list[dict[str, Any]]:
        """Return the main table as records for a data frame, plain values with SI units in the keys."""
        return table_rows(self.document(), self.ROWS)

    def pictures(self) -> list[Picture]:
        """Return pictures, the most telling one first."""
        return []

    def picture(self, name: str = "") -> Picture:
        """Return a picture by name, else the first. Raises InputError where there is none."""
        pictures = self.pictures()
        found = next((one for one in pictures if not name or one.name == name), None)
        if found is None:
            known = ", ".join(one.name for one in pictures) or "none"
            raise InputError(f'there is no picture "{name}"', hint=f"there are: {known}")
        return found

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.answer().shown.headline}>"

    def __str__(self) -> str:
        from stager.report.terminal import plain_text

        return plain_text(self.answer().shown)

    def _repr_html_(self) -> str:
        from stager.report.terminal import html_text

        return html_text(self.answer().shown, self.pictures())


def table_rows(document: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    """Return the rows under a dotted `key` of a document: a list of records, records by name, or equal columns."""
    found: Any = document
    for part in key.split("."):
        found = found[part]
    if isinstance(found, Mapping):
        return [{"name": name, **record} for name, record in found.items()]
    if found and not isinstance(found[0], Mapping):
        lists = {name: values for name, values in document.items() if isinstance(values, list)}
        columns = {
            name: values
            for name, values in lists.items()
            if len(values) == len(found) and not isinstance(values[0], Mapping)
        }
        return [dict(zip(columns, cells, strict=True)) for cells in zip(*columns.values(), strict=True)]
    return [dict(record) for record in found]


def shown(kind: type[Kind], record: Any, **more: Any) -> Kind:
    """Return a record of the core as a result of class `kind`; more: fields that the result adds."""
    return kind(**{one.name: getattr(record, one.name) for one in fields(record)}, **more)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class ThrowResult(Shown, Throw):
    """Result of `Loaded.simulate`; exit_speed is that behind the last wheel."""

    loaded: Loaded = field(repr=False, compare=False)

    @property
    def outlet_speed(self) -> float:
        """Speed behind the outlet, without one that behind the last wheel [m/s]."""
        from stager.physics.flight import outlet_speed

        return float(outlet_speed(self.loaded.scenario.launcher, self.exit_speed))

    @property
    def exit_energy(self) -> float:
        """Energy of the projectile's motion behind the outlet, without its spin [J]."""
        from stager.physics.mechanics import translation_energy

        return float(translation_energy(self.outlet_speed, self.loaded.scenario.launcher.projectile))

    def answer(self) -> Answer:
        """Return the answer of `stager throw`."""
        from stager.report import throw

        return throw.answer(self.loaded.scenario.launcher, self, self.loaded.source(), self.loaded.flown(self))

    def pictures(self) -> list[Picture]:
        """Return pictures of speed along the barrel and of energy; none after a jam."""
        from stager.report import throw
        from stager.report.figures import of_throw

        launcher = self.loaded.scenario.launcher
        rows = throw.stages(launcher, self)
        if bool(self.jammed):
            return []
        found = (of_throw.speed_picture(launcher, rows), of_throw.energy_picture(launcher, rows))
        return [picture for picture in found if picture is not None]
