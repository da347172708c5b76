"""The table of draws beside a configuration: validated, read from its own folder only, never quoted in errors."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.config import load
from stager.config.csv_tables import parse_draws, show_draws
from stager.errors import InputErrors
from stager.units import Measured
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


KNOWN = {
    "contact.rebound": Measured(0.8, low=0.0, high=1.0),
    "stage.crush": Measured(0.004, low=1e-6, high=1.0),
    "feed.spin": Measured(0.0, low=-1e5, high=1e5),
}


@given(
    st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(1e-6, 1.0), st.floats(-1e5, 1e5)), min_size=1, max_size=5),
    st.sampled_from(["", "One line.", "Two\nlines."]),
)
def test_written_draws_read_back(rows: list[tuple[float, ...]], note: str) -> None:
    draws = {key: np.array(column) for key, column in zip(KNOWN, zip(*rows, strict=True), strict=True)}
    text = show_draws(draws, note)
    assert text.count("#") == len(note.splitlines())
    found = parse_draws(text, KNOWN)
    assert list(found) == list(KNOWN)
    for key, column in draws.items():
        np.testing.assert_allclose(found[key], column, rtol=1e-9)
        assert found[key].flags.c_contiguous


def test_table_of_draws_may_have_comments_blanks_and_ends_of_ranges() -> None:
    text = "# a\n\n contact.rebound , stage.crush\n  \n0 , 1e-6\n# b\n1,1\n0.5,0.25\n"
    found = parse_draws(text, KNOWN)
    assert {key: column.tolist() for key, column in found.items()} == {
        "contact.rebound": [0.0, 1.0, 0.5], "stage.crush": [1e-6, 1.0, 0.25],
    }  # fmt: skip
    assert len(parse_draws("stage.crush\n" + "0.004\n" * 10_000, KNOWN)["stage.crush"]) == 10_000
    assert parse_draws(f"stage.crush\n{'0.004'.ljust(39, '0')}\n", KNOWN)["stage.crush"].tolist() == [0.004]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "it holds no draws"),
        ("# a\n", "it holds no draws"),
        ("stage.crush\n# 1\n", "it holds no draws"),
        (f"stage.crush\n{'0.004'.ljust(40, '0')}\n", "line 2 holds a number that is not finite"),
        ("a,stage.crush,b\n1,1,1\n", "no quantity of this configuration heads column 1, 3"),
        ("a,b,c,d,e,f\n1,1,1,1,1,1\n", "no quantity of this configuration heads column 1, 2, 3, 4, 5"),
        ("stage.crush,feed.spin\n\n1,1\n1\n", "line 4 has fewer cells than heads (2)"),
        ("stage.crush,feed.spin\n1,1,1\n", "line 2 has more cells than heads (2)"),
        ("stage.crush,feed.spin\n\n1,1\n1,1e6\n2,1e6\n", "line 5, column 1 is outside the range of stage.crush"),
        ("stage.crush,feed.spin\n\n1,1\n1,1e6\n1,2e6\n", "line 4, column 2 is outside the range of feed.spin"),
    ],
)
def test_message_of_a_wrong_table_names_the_first_place(text: str, message: str) -> None:
    with pytest.raises(ValueError, match="^" + re.escape(message) + "$"):
        parse_draws(text, KNOWN)
