"""Read a configuration file; say all that is wrong with it at once."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from stager.config.build import build_allowances, build_goal, build_launcher, read_draws
from stager.config.checks import check
from stager.config.errors import explain, place
from stager.config.machine import File
from stager.config.values import quantities, uncertain
from stager.errors import InputError, InputErrors
from stager.hardware.arrays import Floats
from stager.hardware.scenario import Scenario
from stager.quantity import Measured


@dataclass(frozen=True)
class Configuration:
    """A configuration file, read and found right. `raw` is the TOML tree, `file` its checked tables."""

    path: FilePath
    text: str
    raw: Mapping[str, Any]
    file: File
    draws: Mapping[str, Floats] | None

    @property
    def title(self) -> str:
        """The launcher's title."""
        return self.file.title

    @property
    def sha256(self) -> str:
        """Of the file's bytes."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def quantities(self) -> dict[str, Measured]:
        """Every quantity by dotted key."""
        return quantities(self.file, self.raw)

    def scenario(self) -> Scenario:
        """What the file describes, in hardware records."""
        found = self.quantities
        return Scenario(
            title=self.title,
            launcher=build_launcher(self.file, self.raw, {}),
            allowances=build_allowances(self.file),
            goal=build_goal(self.file),
            values={key: measured.value for key, measured in found.items()},
            uncertain=uncertain(found),
            realise=partial(build_launcher, self.file, self.raw),
            draws=self.draws,
        )


def load(path: str | FilePath) -> Configuration:
    """Read `path`. Raises InputErrors with every problem of the file, each with its line and a hint."""
    path = FilePath(path)
    text = _text(path)
    raw = _tree(path, text)
    try:
        file = File.model_validate(_merged(raw))
    except ValidationError as error:
        raise explain(str(path), text, raw, error) from None
    problems = check(file)
    if problems:
        raise place(str(path), text, problems)
    return Configuration(path, text, raw, file, _draws(path, text, file, raw))


def _text(path: FilePath) -> str:
    hint = "give the path of a configuration file; `stager new DIR` writes one to start from"
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputErrors([InputError("there is no such file", where=str(path), hint=hint)]) from None
    except UnicodeDecodeError:
        message = "is not text in UTF-8"
        raise InputErrors([InputError(message, where=str(path), hint="save it as UTF-8")]) from None
    except OSError as error:
        raise InputErrors([InputError(f"cannot be read ({error.strerror})", where=str(path), hint=hint)]) from None


def _tree(path: FilePath, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        found = re.search(r"\(at line (\d+), column (\d+)\)", message)
        line = int(found[1]) if found else max(1, len(text.splitlines()))
        plain = re.sub(r"\s*\(at .*\)$", "", message)
        hint = 'a line is `key = value`; text and quantities stand in quotes: mass = "18 g"'
        where = f"{path}:{line}"
        raise InputErrors([InputError(f"not TOML: {plain}", where=where, hint=hint)]) from None


def _merged(raw: dict[str, Any]) -> dict[str, Any]:
    """Each of [[stages]] laid over [stage]."""
    base, stages = raw.get("stage"), raw.get("stages")
    if not isinstance(base, dict) or not isinstance(stages, list):
        return raw
    return {**raw, "stages": [_over(base, own) if isinstance(own, dict) else own for own in stages]}


def _over(base: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    out = dict(base)
    for key, value in own.items():
        below = out.get(key)
        both = isinstance(value, dict) and isinstance(below, dict)
        out[key] = _over(below, value) if both else value  # type: ignore[arg-type]
    return out


def _draws(path: FilePath, text: str, file: File, raw: dict[str, Any]) -> Mapping[str, Floats] | None:
    if file.draws is None:
        return None
    try:
        draws = read_draws((path.parent / file.draws).read_text(encoding="utf-8"))
        unknown = set(draws) - set(quantities(file, raw))
        if unknown:
            raise ValueError("no such quantity: " + ", ".join(sorted(unknown)))
    except (OSError, ValueError) as error:
        hint = "the fit that wrote this file wrote the table beside it; leave `draws` out to do without"
        raise place(str(path), text, [(("draws",), f"cannot be used ({error})", hint)]) from None
    return draws
