"""Mistakes at every key: each is reported once, at its line, with a hint that mends it, and nothing else is."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from stager.config.load import read_tree, understand
from stager.config.toml import show_tree
from stager.errors import InputError, InputErrors

PATH = Path(__file__).parent / "complete.toml"
Path_ = tuple[str | int, ...]
WRONG: tuple[Any, ...] = ([], {"zz": 1}, "?")
"""Values that no key takes, but for the texts that take "?"."""
SIZES: dict[str, dict[str, Any]] = {
    # Far above and below the examples that replace a wrong value while the others are checked.
    "large": {
        "projectile.diameter": "400 mm", "projectile.max_crush": "90 mm", "projectile.thickness": "90 mm",
        "feed.rate": "1 /s", "stage.crush": "60 mm", "stage.crush_range": ["50 mm", "80 mm"],
        "stage.wheel.radius": "900 mm", "stage.wheel.radius_range": ["600 mm", "950 mm"],
        "stage.wheel.tyre.depth": "200 mm", "stage.wheel.bore": "500 mm",
    },
    "small": {
        "projectile.diameter": "2 mm", "projectile.max_crush": "0.3 mm", "projectile.thickness": "1 mm",
        "feed.rate": "9 /s", "feed.pusher.return_time": "5 ms", "stage.crush": "0.2 mm",
        "stage.crush_range": ["0.1 mm", "0.25 mm"], "stage.wheel.radius": "2.5 mm",
        "stage.wheel.radius_range": ["2 mm", "3 mm"], "stage.wheel.tyre.depth": "0.4 mm", "stage.wheel.bore": "1 mm",
    },
}  # fmt: skip


RAW = read_tree(PATH, PATH.read_text(encoding="utf-8"))


def complete() -> dict[str, Any]:
    """Return the configuration with every key, without the key that is refused."""
    tree = copy.deepcopy(RAW)
    del tree["feed"]["push"]
    return tree


def one_stage(size: str = "") -> dict[str, Any]:
    """Return the same for equal stages, in another size."""
    tree = complete()
    del tree["stages"]
    for key, value in SIZES.get(size, {}).items():
        *path, name = key.split(".")
        holder(tree, (*path, name))[name] = value
    return tree


def leaves(value: Any, path: Path_ = ()) -> Iterator[Path_]:
    """Yield the paths of all keys that hold no table."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list) and isinstance(value[0], dict):
        for number, inner in enumerate(value):
            yield from leaves(inner, (*path, number))
    else:
        yield path


def holder(tree: Any, path: Path_) -> Any:
    """Return the table that holds a key."""
    for part in path[:-1]:
        tree = tree[part]
    return tree


def dotted(path: Path_) -> str:
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in path)


def errors(tree: dict[str, Any]) -> list[tuple[str, InputError]]:
    """Return the errors of a configuration, each with its key; each has a line of the file and a hint."""
    text = show_tree(tree)
    try:
        understand(PATH, text, "")
    except InputErrors as error:
        found = error.errors
    else:
        return []
    lines = text.splitlines()
    for one in found:
        place = re.fullmatch(rf"{re.escape(str(PATH))}:(\d+): (\S+)", one.where)
        assert place, one.where
        assert one.message
        assert one.hint, one
        # The line has the key, or the head of its table; a key that is missing has the line of a table around it.
        table, _, name = re.sub(r"\.\d+", "", place[2]).rpartition(".")
        head = f"{table}.{name}".strip(".")
        line = lines[int(place[1]) - 1]
        there = line.startswith((f"{name} = ", f"[{head}]", f"[[{head}]]"))
        assert there or name not in holder_of(tree, place[2]), (one.where, line)
    return [(one.where.rpartition(": ")[2], one) for one in found]


def holder_of(tree: Any, key: str) -> Any:
    """Return the table that holds a dotted key; {} where there is none."""
    for part in key.split(".")[:-1]:
        try:
            tree = tree[int(part) - 1] if part.isdigit() else tree[part]
        except (KeyError, IndexError, TypeError):
            return {}
    return tree if isinstance(tree, dict) else {}


@pytest.mark.parametrize("size", ["", *SIZES])
def test_complete_configurations_are_without_errors(size: str) -> None:
    assert errors(complete()) == []
    assert errors(one_stage(size)) == []


TEXTS = {"title", "name"}
NAMES = {*TEXTS, "material", "toy"}


def _wrong(path: Path_, number: int) -> Any:
    return WRONG[number % (2 if path[-1] in TEXTS else 3)]


@pytest.mark.parametrize("first", range(5))
def test_wrong_value_is_reported_once_and_beside_other_problems(first: int) -> None:
    # A stage that inherits the value does not report it again, and no check of other keys uses it.
    for number, path in list(enumerate(leaves(complete())))[first::5]:
        tree = complete() if path[0] in ("stage", "stages") else one_stage()
        tree["limits"]["toy"] = "of nobody"
        holder(tree, path)[path[-1]] = _wrong(path, number)
        assert sorted(key for key, _ in errors(tree)) == sorted({dotted(path), "limits.toy"})


STAGE = [("stage", name) for name in ("crush", "crush_range", "wheel", "clearance", "speed")]
SIZED = [path for path in leaves(one_stage()) if path[0] in ("projectile", "feed") or path[:2] in STAGE]


@pytest.mark.parametrize("size", SIZES)
def test_wrong_value_is_not_replaced_by_one_that_contradicts_the_others(size: str) -> None:
    found = []
    for number, path in enumerate(SIZED):
        tree = one_stage(size)
        holder(tree, path)[path[-1]] = _wrong(path, number)
        found += [(dotted(path), key, one.message) for key, one in errors(tree) if key != dotted(path)]
    assert found == []


def test_hint_of_a_missing_key_mends_the_file() -> None:
    mended = 0
    for path in leaves(one_stage()):
        tree = one_stage()
        del holder(tree, path)[path[-1]]
        for key, error in errors(tree):
            if not error.message.startswith("is missing"):
                continue
            where = tuple(int(part) - 1 if part.isdigit() else part for part in key.split("."))
            shown = re.match(r"for example (\w+) = (\[.*?\]|\".*?\"|[\d.]+)", error.hint)
            assert shown, error.hint
            assert shown[1] == where[-1]
            if shown[1] == "law":
                continue
            other = copy.deepcopy(tree)
            value = shown[2].replace(", …]", "]")
            (holder(other, where))[where[-1]] = tomllib.loads(f"value = {value}")["value"]
            again = [one for place, one in errors(other) if place == key]
            # Of a list the first entry is shown; the unit of a stiffness follows from the exponent.
            usual = "needs at least 2 points|needs N/m|must be less than the wheel's radius"
            assert all(re.search(usual, one.message) for one in again), (key, again)
            mended += 1
    assert mended > 40


@pytest.mark.parametrize("first", range(8))
def test_mistyped_keys_name_those_meant_and_hide_what_follows_from_them(first: int) -> None:
    tree = one_stage()
    paths = {dotted(path): path for path in [path for path in leaves(tree) if path[-1] != "law"][first::8]}
    for path in paths.values():
        table, name = holder(tree, path), str(path[-1])
        table[f"{name}x"] = table.pop(name)
    found = errors(tree)
    assert sorted(key for key, _ in found) == sorted(f"{key}x" for key in paths)
    for key, error in found:
        name = str(paths[key[:-1]][-1])
        assert error.message == "unknown key"
        assert error.hint.startswith(f"did you mean `{name}`")
        given = re.search(r", as in (\w+) = (.*)\?$", error.hint)
        assert given is None or given[1] == name
        assert (given is None) == (name in NAMES)


GOAL = {"aim", "exit_speed", "spin", "worthwhile"}
LISTS = {"stage.wheel_options", "stage.drive_options", "supply.batteries"}


@pytest.mark.parametrize("first", range(8))
def test_keys_in_another_table_are_sent_to_their_own(first: int) -> None:
    tree = one_stage()
    homes: dict[str, set[str]] = {}
    for path in leaves(one_stage()):
        home = ".".join(str(part) for part in path[:-1] if not isinstance(part, int))
        homes.setdefault(str(path[-1]), set()).add(
            "the top of the file" if not home else f"[[{home}]]" if home in LISTS else f"[{home}]"
        )
    names = [name for name in homes if name not in GOAL][first::8]
    tree["goal"] |= dict.fromkeys(names, 1)
    found = errors(tree)
    assert sorted(key for key, _ in found) == sorted(f"goal.{name}" for name in names)
    for key, error in found:
        assert error.message == "unknown key here"
        said = error.hint.removeprefix("it belongs to ").partition(", or did you mean")[0].split(" or ")
        assert len(said) == len(set(said)) <= 3
        assert homes[key.removeprefix("goal.")] <= set(said) or len(said) == 3
        for one in said:
            assert one == "the top of the file" or (one.strip("[]") in LISTS) == one.startswith("[["), said


def tables(value: Any, path: Path_ = ()) -> Iterator[Path_]:
    """Yield the paths of all tables, of lists of tables and of their entries."""
    if path:
        yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    for key, one in inner:
        if isinstance(one, dict) or (isinstance(one, list) and isinstance(one[0], dict)):
            yield from tables(one, (*path, key))


@pytest.mark.parametrize("path", list(tables(one_stage())), ids=dotted)
def test_value_for_a_table_is_told_the_head_that_begins_it(path: Path_) -> None:
    listed = dotted(path) in LISTS
    for value in (3,) if listed else (3, [7]):
        tree = one_stage()
        holder(tree, path)[path[-1]] = value
        ((key, error),) = errors(tree)
        assert key == dotted(path)
        single = isinstance(value, list) and not isinstance(path[-1], int)
        assert error.message == ("must be a list" if listed else "must be one table" if single else "must be a table")
        (head,) = re.findall(r"\[+[\w.]+\]+", error.hint)
        # The head is one of TOML that begins this table, or an entry of its list.
        begun: Any = tomllib.loads(head)
        for part in (part for part in path if isinstance(part, str)):
            begun = begun[part]
        assert begun == ([{}] if listed or isinstance(path[-1], int) else {})


@pytest.mark.parametrize("path", [path for path in tables(one_stage()) if isinstance(path[-1], str)], ids=dotted)
def test_mistyped_table_names_the_one_meant_alone(path: Path_) -> None:
    tree = one_stage()
    holder(tree, path)[f"{path[-1]}x"] = holder(tree, path).pop(path[-1])
    ((key, error),) = errors(tree)
    assert key == f"{dotted(path)}x"
    assert error.message == ("unknown key" if dotted(path) in LISTS else "unknown table")
    head = ".".join(str(part) for part in path if isinstance(part, str))
    head = f"[[{head}]]" if dotted(path) in LISTS else f"[{head}]"
    assert error.hint.startswith(f"did you mean {head}")


COUNTS = {
    # key: least and most
    "feed.magazine": (1, 1_000_000), "supply.cells": (1, 200), "limits.stages": (0, 12),
    "stage.drive.heat.fin_count": (1, None), "stage.drive.mount.screws": (2, 12),
}  # fmt: skip


@pytest.mark.parametrize("key", COUNTS)
def test_count_is_accepted_from_its_least_to_its_most(key: str) -> None:
    path = tuple(key.split("."))
    least, most = COUNTS[key]
    for end, outside, words in ((least, least - 1, "at least"), (most, (most or 0) + 1, "at most")):
        if end is None:
            continue
        tree = one_stage()
        holder(tree, path)[path[-1]] = end
        assert errors(tree) == []
        holder(tree, path)[path[-1]] = outside
        ((place, error),) = errors(tree)
        assert (place, error.message) == (key, f"must be {words} {end} (got {outside})")


ENTRIES = {
    # key: an entry, least and most of them
    "stages": ({}, 0, 12), "stage.wheel_options": ({"radius": "30 mm", "inertia": "1e-5 kg m^2"}, 0, 100),
    "stage.drive_options": ({"speed_constant": "900 rpm/V", "resistance": "90 mohm"}, 0, 100),
    "supply.batteries": ({"cells": 3, "capacity": "2 Ah"}, 0, 100),
}  # fmt: skip


@pytest.mark.parametrize("key", ENTRIES)
def test_list_is_accepted_up_to_its_most(key: str) -> None:
    path = tuple(key.split("."))
    entry, least, most = ENTRIES[key]
    tree = one_stage()
    del tree["limits"]["rim_safety"]
    for number in (least, most, most + 1):
        holder(tree, path)[path[-1]] = [entry] * number
        expected = [(key, f"has more than {most} entries", "leave some out")] if number > most else []
        assert [(place, one.message, one.hint) for place, one in errors(tree)] == expected


def test_curve_has_two_points_at_least() -> None:
    tree = one_stage()
    tree["contact"]["rail_friction"] |= {"slip": ["0 m/s", "1 m/s"], "coefficient": [0.6, 0.5]}
    assert errors(tree) == []
    tree["contact"]["rail_friction"] |= {"slip": ["0 m/s"], "coefficient": [0.6]}
    assert [(key, one.message) for key, one in errors(tree)] == [
        (f"contact.rail_friction.{key}", "needs at least 2 points (got 1)") for key in ("slip", "coefficient")
    ]
