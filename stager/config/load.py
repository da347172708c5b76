"""Read a configuration file and report all its problems at once."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from stager.config.checks import check
from stager.config.configuration import Configuration
from stager.config.draws import read_draws
from stager.config.errors import Problem, explain, findings, meant, place, repair
from stager.config.lists import read_lists
from stager.config.schema import refuse
from stager.config.tables import File, merged
from stager.config.toml import KeyPath, tokens
from stager.errors import InputError, InputErrors
from stager.files import read_bytes

SIZE = 250_000
"""Greatest size of a configuration [bytes]; this and the following limits keep parsing quick and messages short."""
LINE = 4000
"""Most characters of a line."""
NESTED = 12
"""Greatest depth of brackets."""
PARTS = 12
"""Most parts of a dotted key."""
ENTRIES = 1000
"""Most entries of a list."""
VALUES = 5000
"""Most values of a file."""
WORDS = 2000
"""Most characters of a text."""
NAME = 100
"""Most characters of a key."""
_START = "`stager new DIR` writes a configuration to start from"
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


def read_text(path: Path) -> tuple[str, str]:
    """Return the text and SHA-256 of a file. Raises InputErrors where it is missing or cannot be read."""
    where = str(path)
    try:
        data = read_bytes(path, SIZE)
        text = data.decode("utf-8-sig")
    except FileNotFoundError:
        raise _error("there is no such file", where, _START) from None
    except IsADirectoryError:
        raise _error("is a directory, not a configuration file", where, f"name a file in it; {_START}") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise _error("is not text in UTF-8", f"{where}:{line}", "save the file as UTF-8") from None
    except InputError as error:
        raise InputErrors([error]) from None
    except OSError as error:
        raise _error(f"cannot be read ({error.strerror})", where, _START) from None
    except ValueError as error:
        raise _error(f"is not a path ({error})", where, _START) from None
    if not text.strip():
        raise _error("the file is empty", where, _START)
    return text, hashlib.sha256(data).hexdigest()


def read_tree(path: Path, text: str) -> dict[str, Any]:
    """Return the TOML tree of a text. Raises InputErrors with the line where it is not TOML."""
    _check_shape(path, text)
    try:
        tree = tomllib.loads(text)
    except ValueError as error:
        message = str(error)
        found = _PLACE.search(message)
        line = int(found[1]) if found and found[1] else len(text.rstrip().splitlines())
        plain = _PLACE.sub("", message)
        plain = plain[:1].lower() + plain[1:]
        raise _error(f"not TOML: {plain}", f"{path}:{line}", _hint(text, line)) from None
    problem = next(_too_large(tree), None)
    if problem is not None and not problem.path:
        raise _error(problem.message, f"{path}:1", problem.hint)
    if problem is not None:
        raise place(str(path), text, [problem])
    return tree


def _check_shape(path: Path, text: str) -> None:
    """Raise InputErrors where lines or nesting exceed what tomllib parses quickly."""
    line = depth = dots = 0
    for line, written in enumerate(text.split("\n"), 1):
        if len(written) > LINE:
            raise _error(f"is a line of more than {LINE} characters", f"{path}:{line}", "break it into several")
    line = 1
    for kind, part in tokens(text):
        depth = max(0, depth + {"open": 1, "close": -1}.get(kind, 0))
        if kind in ("open", "close", "end"):
            dots = 0
        elif kind == "other":
            for number, piece in enumerate(re.split("[=,]", part)):
                dots = piece.count(".") + (dots if number == 0 else 0)
                if dots >= PARTS:
                    break
        if depth > NESTED or dots >= PARTS:
            raise _error("not TOML: nested too deeply", f"{path}:{line}", f"tables are at most {PARTS} deep")
        line += part.count("\n")


def _too_large(tree: dict[str, Any]) -> Iterator[Problem]:
    """Yield lists, texts and keys that are larger than any configuration needs."""
    left: list[tuple[KeyPath, Any]] = [((), tree)]
    for seen in range(VALUES):
        if not left:
            return
        path, value = left.pop()
        if isinstance(value, list) and len(value) > ENTRIES:
            yield Problem(path, f"has more than {ENTRIES} entries (got {len(value)})", "leave some out")
        elif isinstance(value, str) and len(value) > WORDS:
            yield Problem(path, f"is longer than {WORDS} characters", "shorten it")
        elif isinstance(value, dict) and (long := next((key for key in value if len(key) > NAME), None)):
            yield Problem(path, f'has a key of more than {NAME} characters ("{long[:20]}…")', "no key is that long")
        elif seen + len(left) > VALUES:
            break
        else:
            inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
            left += [((*path, key), item) for key, item in inner]
    yield Problem((), f"the file holds more than {VALUES} values", "leave some out")


def _hint(text: str, line: int) -> str:
    written = text.splitlines()[line - 1] if line <= len(text.splitlines()) else ""
    bare = re.match(r"\s*([\w.-]+)\s*=\s*([+-]?[\d.].*?)\s*(#.*)?$", written)
    if bare:
        return f'text and quantities stand in quotes: {bare[1]} = "{bare[2]}"'
    return 'a table begins with [name]; a line in it is key = value; quantities stand in quotes: mass = "18 g"'


def _error(message: str, where: str, hint: str) -> InputErrors:
    return InputErrors([InputError(message, where=where, hint=hint)])


def load(path: str | Path) -> Configuration:
    """Return the configuration at `path`. Raises InputErrors with all its problems, each with its line and a hint."""
    path = Path(path)
    text, sha256 = read_text(path)
    return understand(path, text, sha256)


def understand(
    path: Path, text: str, sha256: str, *, with_draws: bool = True, folder: Path | None = None
) -> Configuration:  # fmt: skip
    """Return a configuration from its text. Raises InputErrors as `load` does, which name `path`.

    folder : where its lists are, that of `path` by default.
    """
    raw = read_tree(path, text)
    lists = read_lists(path, text, raw, folder)
    file, problems = _check_tree(lists.tree)
    if file is None or problems:
        raise lists.place(str(path), text, problems)
    draws = read_draws(path, text, file, lists.tree) if with_draws else None
    return Configuration(
        path=path, text=text, sha256=sha256, raw=raw, tree=lists.tree, file=file, lists=lists.names, draws=draws
    )


def _check_tree(raw: Mapping[str, Any]) -> tuple[File | None, list[Problem]]:
    """Return the checked file and its problems; where single keys are wrong, also problems across the others."""
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
