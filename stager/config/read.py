"""From a path to text and TOML tree."""

from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path
from typing import Any

from stager.errors import InputError, InputErrors

_START = "`stager new DIR` writes a configuration to start from"
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


def read_text(path: Path) -> tuple[str, str]:
    """Text and SHA-256 of a file. Raises InputErrors where there is none, or none that can be read."""
    where = str(path)
    try:
        data = path.read_bytes()
        text = data.decode("utf-8-sig")
    except FileNotFoundError:
        raise _error("there is no such file", where, _START) from None
    except IsADirectoryError:
        raise _error("is a directory, not a configuration file", where, f"name a file in it; {_START}") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise _error("is not text in UTF-8", f"{where}:{line}", "save the file as UTF-8") from None
    except OSError as error:
        raise _error(f"cannot be read ({error.strerror})", where, "") from None
    except ValueError as error:
        raise _error(f"is no path ({error})", where, "") from None
    if not text.strip():
        raise _error("the file is empty", where, _START)
    return text, hashlib.sha256(data).hexdigest()


def read_tree(path: Path, text: str) -> dict[str, Any]:
    """TOML tree of a text. Raises InputErrors with the line where it is no TOML."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise _error("not TOML: nested too deeply", str(path), "") from None
    except ValueError as error:
        message = str(error)
        found = _PLACE.search(message)
        line = int(found[1]) if found and found[1] else len(text.rstrip().splitlines())
        plain = _PLACE.sub("", message)
        plain = plain[:1].lower() + plain[1:]
        raise _error(f"not TOML: {plain}", f"{path}:{line}", _hint(text, line)) from None


def _hint(text: str, line: int) -> str:
    written = text.splitlines()[line - 1] if line <= len(text.splitlines()) else ""
    bare = re.match(r"\s*([\w.-]+)\s*=\s*([+-]?[\d.].*?)\s*(#.*)?$", written)
    if bare:
        return f'text and quantities stand in quotes: {bare[1]} = "{bare[2]}"'
    return 'a table begins with [name]; a line in it is key = value; quantities stand in quotes: mass = "18 g"'


def _error(message: str, where: str, hint: str) -> InputErrors:
    return InputErrors([InputError(message, where=where, hint=hint)])
