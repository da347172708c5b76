"""What every result can do."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

from stager.errors import InputError
from stager.report.table import Screen

if TYPE_CHECKING:
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


def shown(kind: type[Kind], record: Any, **more: Any) -> Kind:
    """A record of the core as the result that shows it."""
    return kind(**{one.name: getattr(record, one.name) for one in fields(record)}, **more)
