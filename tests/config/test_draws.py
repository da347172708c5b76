"""The table of draws beside a configuration: validated, read from its own folder only, never quoted in errors."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager.config import load
from stager.errors import InputErrors
from tests.config.test_load import loaded

SECRET = "root:x:0:0:secret"


def _error(folder: Path, name: str) -> str:
    with pytest.raises(InputErrors) as caught:
        loaded(folder, ('title = "Right"', f'title = "Right"\ndraws = "{name}"'))
    (error,) = caught.value.errors
    assert error.where == f"{folder / 'a.toml'}:2: draws"
    return f"{error} {error.hint}"


@pytest.mark.parametrize("name", ["../secret.csv", "ABSOLUTE", "below/secret.csv", "link.csv", "..", ".", "", "folder"])
def test_draws_outside_the_folder_are_refused(name: str, tmp_path: Path) -> None:
    home = tmp_path / "home"
    for folder in (home / "below", home / "folder"):
        folder.mkdir(parents=True)
    for place in (tmp_path / "secret.csv", home / "below" / "secret.csv"):
        place.write_text("stage.crush\n0.004\n0.0041\n", encoding="utf-8")
    (home / "link.csv").symlink_to(tmp_path / "secret.csv")
    message = _error(home, str(tmp_path / "secret.csv") if name == "ABSOLUTE" else name)
    assert "it must be the name of a file next to this one" in message or "it is not a file" in message


@pytest.mark.parametrize(
    ("table", "what"),
    [
        (f"{SECRET}\nsecret\n", "heads column 1"),
        (f"stage.crush\n0.004\n{SECRET}\n", "line 3 holds a cell that is not a number"),
        (f"stage.crush\n0.004\n{SECRET},{SECRET}\n", "line 3 has more cells than heads"),
        (f"stage.crush,{SECRET}", "it holds no draws"),
        ("stage.crush\n0.004\n-0.004\n", "line 3, column 1 is outside the range of stage.crush"),
        ("stage.crush\n0.004\n1e300\n", "line 3, column 1 is outside the range of stage.crush"),
        ("contact.rebound\n0.5\n1.5\n", "line 3, column 1 is outside the range of contact.rebound"),
        ("stage.crush,stage.crush\n1,1\n", "two columns have the same head"),
        ("stage.crush\n" + "0.004\n" * 10_001, "more than 10000 draws"),
        ("stage.crush\n0.004\nnan\n", "a number that is not finite"),
        ("stage.crush\n0.004\n" + "0" * 100_000 + "\n", "line 3 holds a number that is not finite"),
    ],
)
def test_invalid_draws_are_reported_without_quoting_the_file(table: str, what: str, tmp_path: Path) -> None:
    (tmp_path / "d.csv").write_text(table, encoding="utf-8")
    message = _error(tmp_path, "d.csv")
    assert what in message
    assert "secret" not in message


def test_draws_load_without_a_hash(tmp_path: Path) -> None:
    (tmp_path / "d.csv").write_text("stage.crush\n0.004\n0.0041\n", encoding="utf-8")
    found = loaded(tmp_path, ('title = "Right"', 'title = "Right"\ndraws = "d.csv"'))
    assert found.draws is not None
    assert load(found.path).draws is not None
