"""Files are written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager.cli.files import write, write_new
from stager.errors import InputError
from stager.files import check_place


def test_nothing_is_written_where_one_file_exists(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="exists already"):
        write_new({tmp_path / "a": "new", tmp_path / "b": "new"})
    assert [path.name for path in tmp_path.iterdir()] == ["b"]
    assert (tmp_path / "b").read_text(encoding="utf-8") == "mine"


def test_a_failed_write_keeps_the_old_file_and_leaves_no_other(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(UnicodeEncodeError):
        write(path, "\ud800")
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_place_that_cannot_be_written_is_bad_input(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        write(tmp_path / "file" / "below", "text")


@pytest.mark.parametrize(
    ("place", "what"), [("folder", "is a folder"), ("file/page", "cannot be written: not a directory")]
)
def test_a_place_is_looked_at_before_the_work_and_left_as_it_is(tmp_path: Path, place: str, what: str) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    check_place(tmp_path / "new" / "page")
    with pytest.raises(InputError, match=what):
        check_place(tmp_path / place)
    assert sorted(tmp_path.rglob("*")) == before
