"""A parser that reads a page into a tree of elements, without a browser."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset(("input", "meta", "link", "br", "hr"))


@dataclass
class Element:
    """An element with its children."""

    name: str
    attributes: dict[str, str]
    children: list[Element | str] = field(default_factory=list)

    def all(self, name: str) -> list[Element]:
        """Return all descendants of this name."""
        found = []
        for child in self.children:
            if isinstance(child, Element):
                found += [child] if child.name == name else []
                found += child.all(name)
        return found

    @property
    def text(self) -> str:
        """Text of the element and its descendants."""
        return "".join(child if isinstance(child, str) else child.text for child in self.children)

    def rows(self) -> list[list[str]]:
        """Return the cells of a table's body, row by row."""
        body = self.all("tbody")[0]
        return [
            [cell.text for cell in row.children if isinstance(cell, Element)]
            for row in body.children
            if isinstance(row, Element)
        ]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("root", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].name == tag, f"</{tag}> closes <{self.open[-1].name}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read(text: str) -> Element:
    """Return the tree of a page; fail if an element is not closed."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert [element.name for element in reader.open] == ["root"]
    return reader.root


def everything(element: Element) -> list[Element]:
    """Return all descendants."""
    inside = [child for child in element.children if isinstance(child, Element)]
    return inside + [deep for child in inside for deep in everything(child)]
