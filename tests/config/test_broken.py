"""Invalid configuration files: all errors at once, each with its line and a hint."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from stager.config import load
from stager.config.errors import Mistake, dotted, field_at
from stager.config.load import check, understand
from stager.config.tables import File, merged
from stager.config.toml import show_tree
from stager.errors import ExitStatus, InputErrors
from tests.broken.corpus import VALID, Case, cases

CASES = list(cases())


def _errors(path: Path) -> list[tuple[str, str]]:
    with pytest.raises(InputErrors) as caught:
        load(path)
    assert caught.value.exit_status is ExitStatus.BAD_INPUT
    return [(str(error).removeprefix(f"{path}:").lstrip(), error.hint) for error in caught.value.errors]


def test_valid_file_loads(tmp_path: Path) -> None:
    (tmp_path / "valid.toml").write_text(VALID, encoding="utf-8")
    assert load(tmp_path / "valid.toml").title == "Right"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_errors_and_hints_of_an_invalid_file(case: Case, tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text(case.text, encoding="utf-8")
    assert _errors(path) == list(case.errors)


def test_corpus_has_120_cases_each_with_a_hint() -> None:
    assert len({case.name for case in CASES}) == len(CASES) >= 120
    assert [case.name for case in CASES if not all(hint for _, hint in case.errors)] == []


@pytest.mark.parametrize(
    "text, line",
    [
        ("mass = 18 g\n", 1),
        ('[projectile]\nmass = "18 g\n', 2),
        ('[projectile]\nmass = "18 g"\nmass = "19 g"\n', 3),
        ('[projectile\nmass = "18 g"\n', 1),
        ("title =", 1),
        ("stages = [\n  1,\n\n", 2),
        ("[a]\n[a]\n", 2),
        ('title = """\n\nno end', 3),
    ],
)
def test_toml_syntax_error_has_its_line_and_a_hint(text: str, line: int, tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text(text, encoding="utf-8")
    ((found, hint),) = _errors(path)
    assert found.startswith(f"{line}: not TOML: ")
    assert hint


def test_hint_of_an_unquoted_quantity_adds_quotes(tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text("[projectile]\nmass = 18 g   # of clay\n", encoding="utf-8")
    assert _errors(path)[0][1] == 'text and quantities stand in quotes: mass = "18 g"'


def test_missing_empty_and_unreadable_files_are_input_errors(tmp_path: Path) -> None:
    empty, foreign = tmp_path / "empty.toml", tmp_path / "foreign.toml"
    empty.write_text(" \n", encoding="utf-8")
    foreign.write_bytes(b"# one\n# two\ntitle = 'caf\xe9'\n")
    for path, message in [
        (tmp_path / "none.toml", f"{tmp_path}/none.toml: there is no such file"),
        (tmp_path, f"{tmp_path}: is a directory, not a configuration file"),
        (empty, f"{empty}: the file is empty"),
        (empty / "below", f"{empty}/below: cannot be read (Not a directory)"),
        (foreign, f"{foreign}:3: is not text in UTF-8"),
        (tmp_path / "nul\0", f"{tmp_path}/nul\\x00: is not a path (embedded null byte)"),
    ]:
        with pytest.raises(InputErrors) as caught:
            load(path)
        assert str(caught.value) == message


def test_deep_nesting_is_an_input_error(tmp_path: Path) -> None:
    path = tmp_path / "deep.toml"
    for deep in ("[" * 3000, "{a=" * 1000, "[{a = " * 500):
        path.write_text(f"title = 'a'\na = {deep}", encoding="utf-8")
        with pytest.raises(InputErrors, match=r"deep\.toml:2: not TOML: nested too deeply"):
            load(path)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("start", ["", "\ufeff"])
def test_line_numbers_with_crlf_and_byte_order_mark(ends: str, start: str, tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    text = VALID.replace('crush = "4 mm"', "crush = 4").replace("\n", ends)
    path.write_bytes((start + text).encode())
    assert [where for where, _ in _errors(path)] == ["18: stage.crush: 4 needs a unit"]


def _checked(tree: Any) -> list[Mistake]:
    """Return the problems across keys of a file whose single keys are right; [] for others."""
    try:
        return check(File.model_validate(merged(tree)))
    except ValidationError:
        return []


ACROSS = {
    f"{case.name} {number}": (tree, problem)
    for case in CASES
    for tree in [tomllib.loads(case.text)]
    for number, problem in enumerate(_checked(tree))
}


def test_most_checks_across_keys_have_a_case() -> None:
    assert len(ACROSS) >= 70


@pytest.mark.parametrize("name", ACROSS)
def test_problem_across_keys_rests_on_keys_that_exist(name: str) -> None:
    _, problem = ACROSS[name]
    for path in (problem.path, *problem.others):
        assert field_at(path) is not None, path


@pytest.mark.parametrize("name", ACROSS)
def test_problem_across_keys_is_not_reported_where_one_of_them_is_wrong(name: str) -> None:
    tree, problem = ACROSS[name]
    for path in (problem.path, *problem.others):
        other = copy.deepcopy(tree)
        holder = other
        for part in path[:-1]:
            holder = holder.setdefault(part, {}) if isinstance(part, str) else holder[part]
        if not isinstance(holder, dict):
            continue
        holder[path[-1]] = "none" if path == ("stages",) else {"zz": 1}
        with pytest.raises(InputErrors) as caught:
            understand(Path("a.toml"), show_tree(other), "")
        said = [(one.where.rpartition(": ")[2], one.message) for one in caught.value.errors]
        assert (dotted(problem.path), problem.message) not in said, path


@pytest.mark.parametrize("case", [case for case in CASES if "stages]" not in case.text], ids=lambda case: case.name)
def test_stages_that_only_inherit_add_no_errors(case: Case, tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text(f"{case.text}\n[[stages]]\n[[stages]]\n", encoding="utf-8")
    assert _errors(path) == list(case.errors)
