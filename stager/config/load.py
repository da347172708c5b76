"""Read a configuration file; say all that is wrong with it at once."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from stager.config.checks import check
from stager.config.configuration import Configuration
from stager.config.draws import read_draws
from stager.config.errors import explain
from stager.config.machine import File
from stager.config.merge import merged
from stager.config.mistyped import meant
from stager.config.not_yet import refuse
from stager.config.problem import Problem, place
from stager.config.read import read_text, read_tree
from stager.config.repair import findings, repair


def load(path: str | FilePath) -> Configuration:
    """Read `path`. Raises InputErrors with every problem of the file, each with its line and a hint."""
    path = FilePath(path)
    text, sha256 = read_text(path)
    return understand(path, text, sha256)


def understand(path: FilePath, text: str, sha256: str, *, with_draws: bool = True) -> Configuration:
    """A configuration from its text. Raises InputErrors as `load` does; `path` is what they name."""
    raw = read_tree(path, text)
    file, problems = _judge(raw)
    if file is None or problems:
        raise place(str(path), text, problems)
    draws = read_draws(path, text, file, raw) if with_draws else None
    return Configuration(path=path, text=text, sha256=sha256, raw=raw, file=file, draws=draws)


def _judge(raw: Mapping[str, Any]) -> tuple[File | None, list[Problem]]:
    """The checked file and its problems; with wrong single keys, also those between the right ones."""
    tree = merged(raw)
    try:
        file = File.model_validate(tree)
    except ValidationError as error:
        problems = explain(raw, error)
        mended, touched = repair(tree, findings(error))
        touched += meant(error.errors(include_url=False))
        if mended is not None:
            problems += [problem for problem in check(mended) if not problem.rests_on(touched)]
        return None, [*problems, *refuse(raw)]
    return file, [*check(file), *refuse(raw)]
