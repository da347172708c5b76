"""Saving a configuration: only the changed lines differ, comments stay, and the result loads again."""

from __future__ import annotations

import difflib
import stat
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.config import Configuration, load, save
from stager.config.save import changed
from stager.config.toml import show_tree
from stager.errors import InputError, StagerError
from tests.config.test_load import CONFIGS, loaded

COMMENTED = "# Ours.\n" + CONFIGS[0].read_text(encoding="utf-8")


def _saved(configuration: Configuration, **given: Any) -> Configuration:
    path = configuration.path.with_name("saved.toml")
    save(configuration, path, given.pop("changes", {}), **given)
    return load(path)


def _difference(before: Configuration, after: Configuration) -> list[str]:
    lines = difflib.ndiff(before.text.splitlines(), after.text.splitlines())
    return [line for line in lines if line[0] in "+-" and "Written by stager" not in line]


@pytest.mark.parametrize("path", CONFIGS, ids=lambda path: path.stem)
def test_every_quantity_can_be_changed_in_place(path: Path, tmp_path: Path) -> None:
    before = load(path)
    known = {key: measured.value for key, measured in before.quantities.items() if measured.value}
    changes = {key: before.to_toml(key, 1.1 * value, 0.01 * value) for key, value in known.items()}
    (tmp_path / "a.toml").write_text(changed(before, tmp_path / "a.toml", changes), encoding="utf-8")
    after = load(tmp_path / "a.toml")
    # Values are rounded to the second digit of an uncertainty of 1 %.
    assert after.scenario().values == pytest.approx({k: 1.1 * v for k, v in before.scenario().values.items()}, rel=6e-4)
    assert {one.key for one in after.scenario().uncertain} == set(changes)
    kept = [line for line in before.text.splitlines() if line.startswith("# ")]
    assert [line for line in after.text.splitlines() if line.startswith("# ")] == kept


def test_change_affects_one_line_and_keeps_its_comment(tmp_path: Path) -> None:
    before = loaded(tmp_path, ('crush = "4 mm"', 'crush = "4 mm"          # tight'))
    after = _saved(before, changes={"stage.crush": '"3.9 mm ± 0.1 mm"', "contact.rebound": "0.7"})
    assert _difference(before, after) == [
        "+ rebound = 0.7",
        '- crush = "4 mm"          # tight',
        '+ crush = "3.9 mm ± 0.1 mm" # tight',
    ]


def test_planned_speeds_become_stages(tmp_path: Path) -> None:
    before = loaded(tmp_path)
    after = _saved(before, speeds=["12 m/s", "17 m/s : 16 m/s"], note="Planned.\n\nTwo stages.")
    assert _difference(before, after) == [
        "+ # Planned.", "+ #", "+ # Two stages.",
        "+ ", "+ [[stages]]", '+ speed = "12 m/s"', "+ ", "+ [[stages]]", '+ speed = "17 m/s : 16 m/s"',
    ]  # fmt: skip
    stages = after.scenario().launcher.stages
    assert [(stage.speed, stage.speed_b) for stage in stages] == [(12.0, None), (17.0, 16.0)]


def test_unplanned_stages_become_comments(tmp_path: Path) -> None:
    end = (
        '[[stages]]\nspeed = "9 m/s" # slow\n[[stages]]\ncrush = "3 mm"\n[stages.wheel]\nradius = "30 mm"\n[[stages]]\n'
    )
    before = loaded(tmp_path, end=end)
    after = _saved(before, speeds=["11 m/s"])
    assert after.text.endswith(
        '[[stages]]\nspeed = "11 m/s" # slow\n'
        '# [[stages]]\n# crush = "3 mm"\n# [stages.wheel]\n# radius = "30 mm"\n# [[stages]]\n'
    )
    assert [stage.speed for stage in after.scenario().launcher.stages] == [11.0]


def test_missing_tables_and_stages_are_added(tmp_path: Path) -> None:
    after = _saved(loaded(tmp_path), changes={"stages.2.crush": '"3 mm"', "guide.friction": "0.2", "title": '"New"'})
    launcher = after.scenario().launcher
    assert [stage.crush for stage in launcher.stages] == [0.004, 0.003]
    assert launcher.guide is not None
    assert launcher.guide.friction == 0.2
    assert after.title == "New"


def test_friction_law_is_replaced(tmp_path: Path) -> None:
    law = {"law": '"constant"', "coefficient": '"0.6 ± 0.1"'}
    after = _saved(
        loaded(tmp_path),
        changes={f"contact.friction.{key}": value for key, value in law.items()},
        drop=[f"contact.friction.{key}" for key in ("static", "sliding", "fade_speed")],
    )
    assert after.raw["contact"]["friction"] == {"law": "constant", "coefficient": "0.6 ± 0.1"}


def test_inline_table_is_rewritten(tmp_path: Path) -> None:
    inline = ('[stage.wheel.tyre]\nmaterial = "nitrile 70"\ndepth = "3 mm"\n', "")
    before = loaded(
        tmp_path, inline, ("[stage.wheel]\n", '[stage.wheel]\ntyre = {material = "nitrile 70", depth = "3 mm"}\n')
    )
    after = _saved(before, changes={"stage.wheel.tyre.depth": '"2 mm"'})
    assert after.raw["stage"]["wheel"]["tyre"] == {"material": "nitrile 70", "depth": "2 mm"}
    assert after.scenario().launcher == before.scenario().realise({"stage.wheel.tyre.depth": 0.002})


def test_draws_are_copied_to_another_directory(tmp_path: Path) -> None:
    (tmp_path / "draws.csv").write_text("stage.crush\n0.004\n0.0041\n", encoding="utf-8")
    before = loaded(tmp_path, ('title = "Right"', 'title = "Right"\ndraws = "draws.csv"'))
    path = tmp_path / "below" / "b.toml"
    assert save(before, path, {}) == [path, tmp_path / "below" / "b.draws.csv"]
    after = load(path)
    assert after.raw["draws"] == "b.draws.csv"
    assert after.draws is not None
    assert after.draws["stage.crush"].tolist() == [0.004, 0.0041]
    (tmp_path / "below" / "b.draws.csv").write_text("stage.crush\n0.004\n0.0042\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"b\.toml:\d+: draws: .*draws_sha256"):
        load(path)


def test_schema_line_stays_first_with_a_relative_path(tmp_path: Path) -> None:
    before = load(CONFIGS[0])
    text = changed(before, before.path.parent / "below" / "a.toml", {"contact.rebound": "0.7"}, note="Changed.")
    assert text.splitlines()[:2] == ["#:schema ../stager.schema.json", "# Changed."]


def test_invalid_result_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(StagerError, match=r"stage\.crush: must be above 0 mm"):
        save(loaded(tmp_path), path, {"stage.crush": '"-1 mm"'})
    assert path.read_text(encoding="utf-8") == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.toml", "b.toml"]


def test_unwritable_path_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        save(loaded(tmp_path), tmp_path / "a.toml" / "below.toml", {})


def test_file_mode_is_preserved(tmp_path: Path) -> None:
    before = loaded(tmp_path)
    before.path.chmod(0o640)
    save(before, before.path, {"stage.crush": '"3 mm"'}, force=True)
    assert stat.S_IMODE(before.path.stat().st_mode) == 0o640


SCALARS = st.one_of(
    st.booleans(),
    st.integers(-(2**60), 2**60),
    st.floats(allow_nan=False),
    st.text(st.characters(codec="utf-8"), max_size=8),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=5), inner, max_size=3),
    ),
)


@given(st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=5), VALUES, max_size=4))
def test_written_tree_reads_back(tree: dict[str, Any]) -> None:
    assert tomllib.loads(show_tree(tree)) == tree
