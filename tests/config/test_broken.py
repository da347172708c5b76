"""Broken files: every problem at once, each with its line and what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager.config import load
from stager.errors import ExitStatus, InputErrors
from tests.broken.corpus import RIGHT, Broken, cases

CASES = list(cases())


def _said(path: Path) -> list[tuple[str, str]]:
    with pytest.raises(InputErrors) as caught:
        load(path)
    assert caught.value.exit_status is ExitStatus.BAD_INPUT
    return [(str(error).removeprefix(f"{path}:").lstrip(), error.hint) for error in caught.value.errors]


def test_the_right_file_is_right(tmp_path: Path) -> None:
    (tmp_path / "right.toml").write_text(RIGHT, encoding="utf-8")
    assert load(tmp_path / "right.toml").title == "Right"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_what_is_said(case: Broken, tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text(case.text, encoding="utf-8")
    assert _said(path) == list(case.said)


def test_the_corpus_is_large_and_always_helps() -> None:
    assert len({case.name for case in CASES}) == len(CASES) >= 90
    assert [case.name for case in CASES if not all(hint for _, hint in case.said)] == []


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
def test_what_is_no_toml(text: str, line: int, tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text(text, encoding="utf-8")
    ((found, hint),) = _said(path)
    assert found.startswith(f"{line}: not TOML: ")
    assert hint


def test_a_bare_quantity_is_shown_in_quotes(tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    path.write_text("[projectile]\nmass = 18 g   # of clay\n", encoding="utf-8")
    assert _said(path)[0][1] == 'text and quantities stand in quotes: mass = "18 g"'


def test_what_is_no_file(tmp_path: Path) -> None:
    empty, foreign = tmp_path / "empty.toml", tmp_path / "foreign.toml"
    empty.write_text(" \n", encoding="utf-8")
    foreign.write_bytes(b"# one\n# two\ntitle = 'caf\xe9'\n")
    for path, said in [
        (tmp_path / "none.toml", f"{tmp_path}/none.toml: there is no such file"),
        (tmp_path, f"{tmp_path}: is a directory, not a configuration file"),
        (empty, f"{empty}: the file is empty"),
        (empty / "below", f"{empty}/below: cannot be read (Not a directory)"),
        (foreign, f"{foreign}:3: is not text in UTF-8"),
        (tmp_path / "nul\0", f"{tmp_path}/nul\\x00: is no path (embedded null byte)"),
    ]:
        with pytest.raises(InputErrors) as caught:
            load(path)
        assert str(caught.value) == said


def test_deep_nesting_is_no_fault_of_ours(tmp_path: Path) -> None:
    path = tmp_path / "deep.toml"
    for deep in ("[" * 3000, "{a=" * 1000, "[{a = " * 500):
        path.write_text(f"title = 'a'\na = {deep}", encoding="utf-8")
        with pytest.raises(InputErrors, match=r"deep\.toml:2: not TOML: nested too deeply"):
            load(path)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("start", ["", "\ufeff"])
def test_lines_are_counted_whatever_ends_them(ends: str, start: str, tmp_path: Path) -> None:
    path = tmp_path / "broken.toml"
    text = RIGHT.replace('crush = "4 mm"', "crush = 4").replace("\n", ends)
    path.write_bytes((start + text).encode())
    assert [where for where, _ in _said(path)] == ["18: stage.crush: 4 needs a unit"]
