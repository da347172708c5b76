"""What every result can do."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from stager.errors import InputError
from stager.report.table import Screen

if TYPE_CHECKING:
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
        from stager.report.shown import text

        return text(self.answer().screen or Screen(""))

    def _repr_html_(self) -> str:
        from stager.report.shown import markup

        return markup(self.answer().screen or Screen(""), self.pictures())


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
