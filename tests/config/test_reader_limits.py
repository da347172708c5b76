"""What the reader takes at most: exactly the greatest size is read, one more is refused with its line and a hint."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pytest

from stager.config.load import read_text, read_tree
from stager.config.toml import show_key, show_tree, show_value
from stager.errors import InputErrors

PATH = Path("a.toml")
WITHIN = {
    "a line": "# " + "x" * 3998, "brackets": f"\na = {'[' * 12}{']' * 12}", "braces": f"a = {'{b = ' * 12}1{'}' * 12}",
    "a dotted key": f"{'a.' * 11}a = 1", "dotted keys": f"{'a.' * 11}a = 1\n{'b.' * 11}b = 2\n[{'c.' * 11}c]",
    "keys of an inline table": f"a = {{{'a.' * 11}a = 1, {'b.' * 11}b = 2}}",
    "points after an equals sign": f"{'a.' * 11}a = 1.5",
    "an array": f"a = [{'1,' * 999}1]", "a text": f'a = "{"x" * 2000}"', "a key": f"{'k' * 100} = 1",
    "brackets behind closed ones": f"a = {'[[], ' * 11}[]{']' * 11}",
    "brackets in a text": f'a = "{"[" * 50}" # {"[" * 50}', "brackets side by side": f"a = [{'[],' * 50}]",
    "points in texts": f'a = "{"." * 50}" # {"." * 50}', "points in numbers": f"a = [{'1.5, ' * 50}]",
    "values": "".join(f"k{k} = 1\n" for k in range(5000)), "values in arrays": "a = [\n" + "[1,2,3,4],\n" * 998 + "]",
}  # fmt: skip
DEEP = ("not TOML: nested too deeply", "tables are at most 12 deep")
MANY = ("the file holds more than 5000 values", "leave some out")
BEYOND: dict[str, tuple[str, str, str, str]] = {
    "a line": ("\n# " + "x" * 3999, "2", "is a line of more than 4000 characters", "break it into several"),
    "brackets": (f"\na = {'[' * 13}{']' * 13}", "2", *DEEP),
    "brackets over lines": ("a = [\n" + "[\n" * 12 + "]" * 13, "13", *DEEP),
    "braces": (f"a = {'{b = ' * 13}1{'}' * 13}", "1", *DEEP),
    "brackets behind closed ones": (f"a = {'[[], ' * 12}[]{']' * 12}", "1", *DEEP),
    "a dotted key": (f"\n\n{'a.' * 12}a = 1", "3", *DEEP),
    "a head": (f"b = 1\n[{'a.' * 12}a]", "2", *DEEP),
    "a quoted key": ('"a"' + '."a"' * 12 + " = 1", "1", *DEEP),
    "a key of an inline table": (f"a = {{b = 1, {'a.' * 12}a = 1}}", "1", *DEEP),
    "an array": (f"b = 1\na = [{'1,' * 1000}1]", "2: a", "has more than 1000 entries (got 1001)", "leave some out"),
    "a text": (f'b = 1\n[t]\na = "{"x" * 2001}"', "3: t.a", "is longer than 2000 characters", "shorten it"),
    "a key": (
        f"[t]\n{'k' * 101} = 1", "1: t", f'has a key of more than 100 characters ("{"k" * 20}…")', "no key is that long"
    ),
    "a key on top": (
        f"{'k' * 101} = 1", "1", f'has a key of more than 100 characters ("{"k" * 20}…")', "no key is that long"
    ),
    "values": ("".join(f"k{k} = 1\n" for k in range(5001)), "1", *MANY),
    "values in arrays": ("a = [\n" + "[1,2,3,4,5],\n" * 999 + "]", "1", *MANY),
}  # fmt: skip


@pytest.mark.parametrize("case", WITHIN)
def test_greatest_size_is_read(case: str) -> None:
    assert isinstance(read_tree(PATH, WITHIN[case]), dict)


@pytest.mark.parametrize("case", BEYOND)
def test_one_more_is_refused(case: str) -> None:
    text, line, message, hint = BEYOND[case]
    with pytest.raises(InputErrors) as caught:
        read_tree(PATH, text)
    (error,) = caught.value.errors
    assert (error.where, error.message, error.hint) == (f"a.toml:{line}", message, hint)


def test_greatest_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"# x\n" * 62_500)
    assert len(read_text(path)[0]) == 250_000
    path.write_bytes(b"# x\n" * 62_500 + b"\n")
    with pytest.raises(InputErrors):
        read_text(path)


NOT_TOML = {
    "no value": ("a = 1\nb =\n", "2"), "no end of a text": ('a = 1\n\nb = "x\n', "3"), "twice": ("a = 1\na = 2\n", "2"),
    "no end of an array": ("a = [\n1,\n\n", "2"), "a bare quantity": ("[t]\nm = 18 g # c\n", "2"),
    "head twice": ("[a]\n[b]\n[a]\n", "3"), "a table and a value": ("a.b = 1\na = 1\n", "2"),
    "a word": ("a = 1\nword\n", "2"), "a head": ("[a\n", "1"),
}  # fmt: skip


@pytest.mark.parametrize("case", NOT_TOML)
def test_text_that_is_not_toml_is_refused_in_plain_words(case: str) -> None:
    text, line = NOT_TOML[case]
    with pytest.raises(InputErrors) as caught:
        read_tree(PATH, text)
    (error,) = caught.value.errors
    assert error.where == f"a.toml:{line}"
    assert error.message.startswith("not TOML: ")
    assert error.message[len("not TOML: ")].islower()
    assert "(at line" not in error.message
    assert "at end of document" not in error.message
    general = 'a table begins with [name]; a line in it is key = value; quantities stand in quotes: mass = "18 g"'
    bare = 'text and quantities stand in quotes: m = "18 g"'
    twice = "each key, and the head of each table, stands once: leave one out"
    repeated = "twice" in case or case == "a table and a value"
    assert error.hint == (twice if repeated else bare if "quantity" in case else general)


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ("mass=18 g", 'mass = "18 g"'),
        ("  a.b = -3.5e-2 mm   ", 'a.b = "-3.5e-2 mm   "'.replace('   "', '"')),
        ("x = +2 %# c", 'x = "+2 %"'),
        ("x-1 = .5 m", 'x-1 = ".5 m"'),
    ],
)
def test_hint_puts_a_bare_quantity_in_quotes(line: str, hint: str) -> None:
    with pytest.raises(InputErrors) as caught:
        read_tree(PATH, f"{line}\n")
    assert caught.value.errors[0].hint == f"text and quantities stand in quotes: {hint}"


TREE: dict[str, Any] = {
    "day": date(2024, 2, 29), "hour": time(7, 30, 1), "both": datetime(2024, 2, 29, 7, 30),
    "zone": datetime(2024, 2, 29, tzinfo=UTC),
    "inf": math.inf, "minus": -math.inf, "no": [], "rows": [[1, 2], []], "flag": [True, False],
    "mixed": [{"a": 1}, 2], "inline": [[{"a b": {"c": [1.5]}}]], "": 1, "t": {}, "u": {"v": {}, "w": 1, "": {"x": 2}},
    "l": [{}, {"y": [{"z": "é\u007f\\\"\n"}]}, {"q": {"r": 1}}],
}  # fmt: skip


def test_every_kind_of_value_reads_back() -> None:
    text = show_tree(TREE)
    assert read_tree(PATH, text) == TREE
    assert text.endswith("\n")
    assert not text.endswith("\n\n")
    assert not text.startswith("\n")
    assert all(read_tree(PATH, f"a = {show_value(value)}")["a"] == value for value in TREE.values())


@pytest.mark.parametrize(
    ("key", "text"),
    [("a", "a"), ("aZ_9-", "aZ_9-"), ("", '""'), ("a b", '"a b"'), ("é", '"é"'), ("a.b", '"a.b"'), ('"', '"\\""')],
)
def test_key_is_quoted_where_it_must_be(key: str, text: str) -> None:
    assert show_key(key) == text
