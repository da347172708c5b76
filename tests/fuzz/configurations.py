"""Fuzzing of configurations: an altered file loads, or gives errors at its lines."""

from __future__ import annotations

import copy
import random
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from stager.api import load
from stager.config import field_types
from stager.config.errors import field_at
from stager.config.toml import show_tree
from stager.errors import CONTROL_CHARACTERS, InputError, InputErrors
from stager.units import format_quantity

ROOT = Path(__file__).parents[2]
PLACES = (
    *sorted((ROOT / "configs").glob("*.toml")), ROOT / "tests/config/complete.toml", ROOT / "tests/broken/valid.toml",
    ROOT / "stager/cli/templates/launcher.toml",
)  # fmt: skip
TEXTS = tuple(path.read_text(encoding="utf-8") for path in PLACES)
TREES = tuple(tomllib.loads(text) for text in TEXTS)
QUANTITIES = tuple(
    kind.__metadata__[0]
    for kind in vars(field_types).values()
    if hasattr(kind, "__metadata__") and isinstance(kind.__metadata__[0], field_types.QuantityKind)
)
HOSTILE: tuple[Any, ...] = (
    "", " ", "18", "18 g", "±", "18 g ± 1 g", "18 g ± 1e-30 g", "18 g ± 50 %", "18 ± 0.5 g limits", "18 g*9**9**9",
    "1e999 m", "-0 mm", "1e-320 mm", "nan", "inf m/s", "0x10 g", "１８ g", "18\u00a0g", "18 µm",
    "4 mm\u202e", "\x1b[2J",
    "12:9 m/s", ":", "1:2:3", "none", "class H", "ball", "rod", "disc", "hollow ball", "pair",
    "rail", "idler", "constant",
    "bell", "tabulated", "falling", 0, -1, 1, 12, 13, 10**30, 0.5, -0.0, 1e308, 5e-324,
    float("inf"), float("nan"), True,
    [], [[]], [1, 2], ["2 mm", "6 mm"], [0.0, 1.0, 2.0], {}, [{}], {"law": "bell"},
    {"a": {"b": 1}}, "../secret", "/etc/passwd",
    "a" * 3000, "%s%n{0}", "<script>", "=1+1",
)  # fmt: skip
PARTS = ('"', "'", '"""', "[", "]", "[[", "{", "}", "=", ".", ",", "#", "\n", "\\", "\\u0000", "\x00")
PARTS += ("\ufeff", "±", "e9")


def text(rng: random.Random) -> bytes:
    """Return a configuration with a few changes."""
    tree = copy.deepcopy(rng.choice(TREES))
    if rng.random() < 0.4:
        _resize(tree, rng)
    else:
        for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
            _change(tree, rng)
    found = show_tree(tree) if rng.random() < 0.8 else rng.choice(TEXTS)
    if rng.random() < 0.3:
        found = _garbled(found, rng)
    data = found.encode("utf-8", "surrogatepass")
    return _with_one_byte_changed(data, rng) if rng.random() < 0.05 else data


def _places(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from _places(inner, (*path, key))


def _change(tree: dict[str, Any], rng: random.Random) -> None:
    places = list(_places(tree))
    if not places:
        return
    *path, key = rng.choice(places)
    holder: Any = tree
    for part in path:
        holder = holder[part]
    match rng.randrange(8):
        case 0 | 1 | 2:
            holder[key] = _quantity(rng)
        case 3:
            holder[key] = copy.deepcopy(rng.choice(HOSTILE))
        case 4:
            del holder[key]
        case 5 if isinstance(holder, dict):
            holder[rng.choice(places)[-1] if rng.random() < 0.7 else "é"] = copy.deepcopy(holder[key])
            if not all(isinstance(name, str) for name in holder):
                holder.update({str(name): holder.pop(name) for name in list(holder)})
        case 6 if isinstance(holder[key], list) and holder[key]:
            holder[key] = holder[key] * rng.choice((2, 3, 20))
        case _:
            stages = tree.setdefault("stages", [])
            if isinstance(stages, list):
                own = copy.deepcopy(tree.get("stage", {}))
                inner = own if isinstance(own, dict) else {}
                stages.append({name: inner[name] for name in inner if rng.random() < 0.3})


def _resize(tree: dict[str, Any], rng: random.Random) -> None:
    """Give some keys other values within their ranges; valid values can conflict with each other."""
    share = rng.choice((0.05, 0.2, 0.5))
    for path in list(_places(tree)):
        field = field_at(tuple(part for part in path if not isinstance(part, int)))
        known = field.metadata if field else ()
        kind = next((one for one in known if isinstance(one, field_types.QuantityKind)), None)
        kind = kind or next((one for one in _kinds(field.annotation if field else None)), None)
        if kind is None or rng.random() > share:
            continue
        holder: Any = tree
        for part in path[:-1]:
            holder = holder[part]
        if not isinstance(holder[path[-1]], str | float | int):
            continue
        holder[path[-1]] = _near(holder[path[-1]], rng) if rng.random() < 0.5 else _quantity(rng, kind)


def _kinds(annotation: Any) -> Iterator[field_types.QuantityKind]:
    yield from (one for one in getattr(annotation, "__metadata__", ()) if isinstance(one, field_types.QuantityKind))
    for part in getattr(annotation, "__args__", ()):
        yield from _kinds(part)


def _near(value: Any, rng: random.Random) -> Any:
    """Return a value some powers of ten away, in its own unit."""
    factor = 10 ** rng.uniform(-3, 3)
    if isinstance(value, str):
        number, blank, unit = value.partition(" ")
        try:
            return f"{float(number) * factor:.6g}{blank}{unit}"
        except ValueError:
            return value
    return float(value) * factor


def _quantity(rng: random.Random, kind: field_types.QuantityKind | None = None) -> Any:
    """Return a value at an end of a kind's range or within it; without a kind also beyond the range."""
    within, kind = kind is not None, kind or rng.choice(QUANTITIES)
    scale = 1e3 if kind.unit == "N/m^n" else 1.0
    unit = "N/m" if kind.unit == "N/m^n" else kind.unit
    low, high = max(kind.above, kind.at_least) * scale, kind.at_most * scale
    share = rng.choice((0.0, 1.0, *(() if within else (-0.01, 1.01)), rng.random(), rng.random(), rng.random()))
    geometric = low > 0 and rng.random() < 0.7
    value = low * (high / low) ** share if geometric else low + share * (high - low)
    spread = rng.choice((0.0, 0.0, 0.1, 1.0, 1e-8)) * abs(value)
    return format_quantity(value, spread, unit) if unit or spread else value


def _garbled(text: str, rng: random.Random) -> str:
    lines = text.split("\n")
    at = rng.randrange(len(lines))
    match rng.randrange(6):
        case 0:
            lines.insert(at, lines[rng.randrange(len(lines))])
        case 1:
            del lines[at]
        case 2:
            other = rng.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        case 3:
            lines[at] = lines[at] * rng.choice((2, 50))
        case 4:
            return text[: rng.randrange(len(text) + 1)]
        case _:
            place = rng.randrange(len(lines[at]) + 1)
            lines[at] = lines[at][:place] + rng.choice(PARTS) * rng.choice((1, 1, 3, 30)) + lines[at][place:]
    return rng.choice(("\n", "\n", "\r\n")).join(lines)


def _with_one_byte_changed(data: bytes, rng: random.Random) -> bytes:
    if not data:
        return data
    at = rng.randrange(len(data))
    return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]


def judge(path: Path, *, throws: bool = True) -> str:
    """Load a file; return "accepted" or "refused", raise if it gives anything but a launcher or errors at its lines.

    throws : whether the launcher of a valid file also throws once
    """
    lines = path.read_bytes().count(b"\n") + 1
    try:
        loaded = load(path)
        if throws and len(loaded.scenario.launcher.stages) <= 4:
            try:
                loaded.check(*([] if loaded.scenario.launcher.template.speed is not None else ["9 m/s"]))
            except InputErrors:
                raise
            except InputError as error:
                assert_readable(error)
    except InputErrors as found:
        for error in found.errors:
            assert_readable(error)
            assert_at_a_line(error, path, lines)
        return "refused"
    return "accepted"


def assert_readable(error: InputError) -> None:
    """Check that an error is one short line without control characters, with or without a hint."""
    for said in (str(error), error.hint):
        assert not CONTROL_CHARACTERS.search(said), said
        assert len(said) < 2000, said
    assert error.message


def assert_at_a_line(error: InputError, path: Path, lines: int) -> None:
    """Check that an error names the file and a line; an empty or oversized file has no line."""
    rest = error.where.removeprefix(str(path))
    assert rest != error.where, error.where
    if rest == "":
        assert error.message.startswith(("the file is empty", "is longer than")), str(error)
        return
    number = rest[1:].partition(":")[0]
    assert number.isdigit(), error.where
    assert 1 <= int(number) <= lines + 1, error.where
