"""No function, class, method or field of the package is there for tests alone."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import stager

Name = tuple[str, str]
"""Module and name at its top level."""
ROOT = Path(__file__).parents[2]
ENTRIES = {
    "stager.cli.main": "the script `stager`",
    "stager.cli.app._stager": "typer calls it: the options of `stager` itself",
}
"""Names that nothing in the package mentions, with who uses them."""
HOOKS = {
    "to_rows": "Python", "to_toml": "Python", "standard_uncertainties": "Python", "_repr_html_": "notebooks",
    "_repr_svg_": "notebooks", "on_broken_pipe": "rich", "encode_default": "pydantic",
}  # fmt: skip
"""Methods that nothing in the package mentions, with who calls them."""


@cache
def _modules() -> dict[str, ast.Module]:
    """Return the modules of the package by dotted name."""
    paths = sorted((ROOT / "stager").rglob("*.py"))
    names = [".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for path in paths]
    return {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in zip(names, paths, strict=True)}


def _assigned(statement: ast.stmt) -> list[str]:
    """Return the names that a statement defines at the top level of a module."""
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        return [statement.name]
    if not isinstance(statement, ast.Assign | ast.AnnAssign):
        return []
    targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
    return [node.id for target in targets for node in ast.walk(target) if isinstance(node, ast.Name)]


class Package:
    """What each top-level name of the package mentions, imports followed to where a name is defined."""

    def __init__(self) -> None:
        self.modules = _modules()
        # What a name may stand for in a module; functions may import the same name from several places.
        self.scopes: dict[str, dict[str, set[Name]]] = {}
        for module, tree in self.modules.items():
            scope = self.scopes[module] = defaultdict(set)
            for node in ast.walk(tree):
                if isinstance(node, ast.ImportFrom):
                    for alias in node.names:
                        scope[alias.asname or alias.name].add((node.module or "", alias.name))
            for name in (name for statement in tree.body for name in _assigned(statement)):
                scope[name].add((module, name))

    def meant(self, module: str, name: str) -> Iterator[Name]:
        """Yield all that `name` may stand for in `module`."""
        todo, seen = [(module, name)], set()
        while todo:
            one = todo.pop()
            if one not in seen:
                seen.add(one)
                todo += self.scopes.get(one[0], {}).get(one[1], ())
                yield one

    def mentioned(self, module: str, statement: ast.AST) -> Iterator[Name]:
        """Yield the names that a statement mentions."""
        for node in ast.walk(statement):
            if isinstance(node, ast.Name):
                yield from self.meant(module, node.id)
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                for part, name in self.meant(module, node.value.id):
                    yield from self.meant(f"{part}.{name}", node.attr)

    def unused(self) -> set[str]:
        """Return the functions and classes that neither the script nor an exported name leads to."""
        mentions: dict[Name, set[Name]] = defaultdict(set)
        todo = [name for entry in ENTRIES for name in self.meant(*entry.rsplit(".", 1))]
        todo += [name for exported in stager.__all__ for name in self.meant("stager", exported)]
        for module, tree in self.modules.items():
            for statement in tree.body:
                if isinstance(statement, ast.ImportFrom):
                    continue
                found, names = set(self.mentioned(module, statement)), _assigned(statement)
                for name in names:
                    mentions[module, name] |= found
                if not names or any(name.startswith("__") for name in names):
                    todo += found
        used = set()
        while todo:
            one = todo.pop()
            if one not in used:
                used.add(one)
                todo += mentions[one]
        return {
            f"{module}.{statement.name}"
            for module, tree in self.modules.items()
            for statement in tree.body
            if isinstance(statement, ast.FunctionDef | ast.ClassDef)
            and not statement.name.startswith("__")
            and (module, statement.name) not in used
        }


def test_every_function_and_class_is_used_by_the_package() -> None:
    assert Package().unused() == set()


def test_every_method_and_field_is_used_by_the_package() -> None:
    defined, mentioned = set(), set()
    for tree in _modules().values():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                defined |= {item.name for item in node.body if isinstance(item, ast.FunctionDef)}
                defined |= {name for item in node.body if isinstance(item, ast.AnnAssign) for name in _assigned(item)}
            elif isinstance(node, ast.Attribute):
                mentioned.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                mentioned.add(node.value)
    for path in (ROOT / "stager").rglob("*.html"):
        mentioned |= set(re.findall(r"\w+", path.read_text(encoding="utf-8")))
    assert {name for name in defined - mentioned if not name.startswith("__")} == set(HOOKS)
