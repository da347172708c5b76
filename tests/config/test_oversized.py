"""Limits of the reader: long and nested input is read or refused at its line, in linear time."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from stager.config import load
from stager.config.toml import key_lines, tokens
from stager.errors import InputError, InputErrors
from stager.units import QuantityError, parse
from tests.broken.corpus import VALID

MASS = 'mass = "18 g ± 0.5 g"'
MAX_LINES = 3_000_000
"""Most Python lines that reading a file may execute: a measure of time that does not depend on the machine's load."""


class TooMuchWork(Exception):
    """More lines were executed than allowed."""


def _count_lines(run: Callable[[], object], most: int = MAX_LINES) -> int:
    """Count the Python lines that `run` executes; raise TooMuchWork above `most`."""
    count = 0

    def trace(frame: object, event: str, given: object) -> object:
        nonlocal count
        count += 1
        if count > most:
            raise TooMuchWork
        return trace

    before = sys.gettrace()
    sys.settrace(trace)  # type: ignore[arg-type]
    try:
        run()
    finally:
        sys.settrace(before)
    return count


def _load_errors(path: Path) -> InputErrors:
    with pytest.raises(InputErrors) as caught:
        load(path)
    return caught.value


FILES = {
    "an exponent": (VALID.replace(MASS, 'mass = "18 g*9**9**9"'), 4),
    "powers of powers": (VALID.replace(MASS, 'mass = "18 g^99^99"'), 4),
    "a long quantity": (VALID.replace(MASS, f'mass = "18{"0" * 3000} g"'), 4),
    "blanks": (VALID.replace(MASS, f'mass = "18{" " * 3900}g"'), 4),
    "many blanks": (VALID.replace(MASS, f'mass = "18{" " * 20_000}g"'), 4),
    "blanks and no end": (VALID.replace(MASS, f"mass = 18{' ' * 3900}x"), 4),
    "a long name": (VALID.replace(MASS, f'{"m" * 3000} = "18 g"'), 2),
    "dotted parts": (VALID + "a" + ".a" * 1500 + " = 1\n", None),
    "quoted dotted parts": (VALID + '"a"' + '."a"' * 900 + " = 1\n", None),
    "dotted heads": (VALID + "".join(f"[{'a.' * 1500}b{k}]\n" for k in range(50)), None),
    "dotted keys, line by line": (VALID + "".join(f"{'a.' * 1500}b{k} = 1\n" for k in range(50)), None),
    "brackets": (f"a = {'[' * 3000}", 1),
    "many stages": (VALID + '[[stages]]\ncrush = "3 mm"\n' * 3000, None),
    "a long array": (VALID + "[guide]\nfriction = [\n" + "1,\n" * 8_000 + "]\n", None),
    "a long array in a line": (VALID + f"[guide]\nfriction = [{'1,' * 1900}]\n", None),
    "many keys": (VALID + "[guide]\n" + "".join(f"k{k} = 1\n" for k in range(6_000)), None),
    "many tables": (VALID + "".join(f"[k{k}]\n" for k in range(6_000)), None),
    "a long text": (VALID.replace("[projectile]", 'draws = """\n' + "word\n" * 10_000 + '"""\n[projectile]'), None),
    "a text without end": (VALID + 'a = """\n' + '"" \\" \n' * 10_000, None),
    "too long": (VALID + "# a comment\n" * 50_000, None),
    "quotes": (VALID + "a = " + "'\"" * 1900, None),
}  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_oversized_configuration_is_refused_at_its_line(name: str, tmp_path: Path) -> None:
    text, line = FILES[name]
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    refused: list[InputErrors] = []
    _count_lines(lambda: refused.append(_load_errors(path)))
    (found,) = refused
    place = rf"{re.escape(str(path))}:\d+\b" if name != "too long" else re.escape(str(path))
    assert all(re.match(place, error.where) for error in found.errors)
    assert all(len(str(error)) < 1000 for error in found.errors)
    assert line is None or any(error.where.startswith(f"{path}:{line}") for error in found.errors)


@pytest.mark.parametrize(
    "text",
    ["18 g*9**9**9", "18 g" + "*g" * 5000, "18" + " " * 20_000 + "g", "1" * 50_000, "18 g ± " * 5000, "18 g^999999"],
)
def test_oversized_quantity_is_refused_quickly(text: str) -> None:
    with pytest.raises(QuantityError):
        parse(text, "kg", "18 g")
    with suppress(QuantityError):
        _count_lines(lambda: parse(text + "x", "kg", "18 g"), 20_000)


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ('speed = "1.2 m/s"', 'speed = "800 m/s"', "feed.speed: must be at most 100 m/s (got 800 m/s)"),
        ('stiffness = "40 kN/m"', 'stiffness = "1e-299 kN/m"', "contact.stiffness: must be at least"),
        ('stiffness = "40 kN/m"', 'stiffness = "1e299 kN/m"', "contact.stiffness: must be at most 1000000 kN/m"),
        ('diameter = "38 mm"', 'diameter = "1e-29 mm"', "projectile.diameter: must be at least 0.01 mm"),
        (MASS, 'mass = "1e300 g"', "projectile.mass: must be at most 100000 g"),
        (MASS, 'mass = "18 g ± 1e200 g"', "projectile.mass: has an uncertainty wider than any such quantity"),
        (MASS, 'mass = "18 g ± 1e-200 g"', "projectile.mass: has an uncertainty that is too small to matter"),
    ],
)
def test_quantity_outside_its_range_is_an_input_error(key: str, value: str, message: str, tmp_path: Path) -> None:
    assert key in VALID
    path = tmp_path / "a.toml"
    path.write_text(VALID.replace(key, value), encoding="utf-8")
    (error, *_) = _load_errors(path).errors
    line = VALID[: VALID.index(key)].count("\n") + 1
    assert str(error).startswith(f"{path}:{line}: {message}")


def test_every_quantity_has_a_range_that_contains_its_example() -> None:
    import math

    from stager.config import field_types

    found = {name: kind.__metadata__[0] for name, kind in vars(field_types).items() if hasattr(kind, "__metadata__")}
    checked = {name: kind for name, kind in found.items() if isinstance(kind, field_types.QuantityKind)}
    assert len(checked) > 40
    for name, kind in checked.items():
        measured = kind.read(kind.example if kind.unit or "±" in kind.example else float(kind.example))
        assert math.isfinite(measured.low), name
        assert math.isfinite(measured.high), name
        assert measured.low <= measured.value <= measured.high


@pytest.mark.parametrize("name", ["/dev/zero", "/dev/null"])
def test_device_is_refused(name: str) -> None:
    assert len(_load_errors(Path(name)).errors) == 1


def test_line_numbers_in_a_large_file() -> None:
    text = "".join(f"[t{k}]\na = [\n 1, # ]\n '''\n]''',\n]\nb.c = {{d = \"\"\"\n]\"\"\"}}\n" for k in range(2000))
    found = key_lines(text)
    assert found[("t1999", "b", "c", "d")] == 1999 * 8 + 7
    assert "".join(part for _, part in tokens(text)) == text


def test_long_list_of_errors_is_truncated(tmp_path: Path) -> None:
    from tests.cli.run import stager

    path = tmp_path / "a.toml"
    path.write_text(VALID + "[guide]\n" + "".join(f"k{k} = 1\n" for k in range(3000)), encoding="utf-8")
    ran = stager("check", str(path))
    assert ran.status == 2
    assert len(ran.err.splitlines()) < 250
    assert re.search(r"and \d+ more like these\n$", ran.err)


def test_control_characters_are_escaped_in_errors_and_titles(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    text = VALID.replace('title = "Right"', r'title = "\u001b[2J\u202eevil\u0000\u2028"')
    path.write_text(text.replace("38 mm", r"38 mm\u001b[2J"), "utf-8")
    assert r"\x1b[2J" in str(_load_errors(path))
    assert "\x1b" not in str(_load_errors(path))
    path.write_text(path.read_text("utf-8").replace(r"38 mm\u001b[2J", "38 mm"), "utf-8")
    assert load(path).title == r"\x1b[2J\u202eevil\x00\u2028"


def test_input_error_is_one_line() -> None:
    assert str(InputError("a\nb\x1b", where="c\rd")) == r"c\x0dd: a\x0ab\x1b"
