"""HTML from parts: whatever is not markup already is escaped, so nothing can be forgotten."""

from __future__ import annotations

import html
import re


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


Part = str | Markup | None
_UNSHOWABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
_VOID = frozenset(("meta", "link", "br", "hr"))


def escaped(part: Part) -> Markup:
    """A part as HTML; characters that HTML cannot hold become �."""
    if part is None:
        return Markup()
    if isinstance(part, Markup):
        return part
    return Markup(html.escape(_UNSHOWABLE.sub("\N{REPLACEMENT CHARACTER}", part)))


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
