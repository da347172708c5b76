"""HTML from parts: whatever is not markup already is escaped, so nothing can be forgotten."""

from __future__ import annotations

import html

from stager.errors import printable


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


Part = str | Markup | None
_VOID = frozenset(("meta", "link", "br", "hr"))


def escaped(part: Part) -> Markup:
    """A part as HTML; characters that HTML cannot hold, or that turn its direction, are shown escaped."""
    if part is None:
        return Markup()
    if isinstance(part, Markup):
        return part
    return Markup("\n".join(html.escape(printable(line)) for line in part.split("\n")))


def join(*parts: Part) -> Markup:
    """Parts one after the other."""
    return Markup("".join(escaped(part) for part in parts))


def tag(name: str, /, *parts: Part, **attributes: str | None) -> Markup:
    """An element; `class_`, `for_` lose their underscore, others turn it into a hyphen; None: no such attribute."""
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escaped(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in _VOID:
        return Markup(f"<{name}{given}>")
    return Markup(f"<{name}{given}>{join(*parts)}</{name}>")
