"""Changing the text of a configuration: the changed key alone differs, wherever it stands."""

from __future__ import annotations

import hashlib
import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stager.config import load, save, with_values
from stager.config.configuration import place_of, ranges, speed_of, variable_values
from stager.config.load import understand
from stager.config.save import changed, comment_out, put, remove
from stager.config.toml import key_lines, show_tree, show_value
from stager.errors import InputError, InputErrors, StagerError
from tests.broken.corpus import VALID
from tests.config.test_every_key import PATH, Path_, complete, dotted, holder, leaves
from tests.config.test_load import loaded

TEXT = 'title = "a"   # t\n\n# about p\n[p]\nx = 1\n# end of p\n\n[[s]]\ny = 1\n\n# second\n[[s]]\n'
PUT: dict[str, tuple[Path_, str, str]] = {
    "a key on top": (("title",), 'title = "a"   # t', "title = 9     # t"),
    "a new key on top": (("new",), 'title = "a"   # t\n', 'title = "a"   # t\nnew = 9\n'),
    "a key of a table": (("p", "x"), "x = 1", "x = 9"),
    "a new key before the comments at the end": (("p", "n"), "x = 1\n", "x = 1\nn = 9\n"),
    "a key that needs quotes": (("p", "a b"), "x = 1\n", 'x = 1\n"a b" = 9\n'),
    "a new table": (("q", "n"), "# second\n[[s]]\n", "# second\n[[s]]\n\n[q]\nn = 9\n"),
    "a table within": (("p", "q", "n"), "# second\n[[s]]\n", "# second\n[[s]]\n\n[p.q]\nn = 9\n"),
    "a first entry": (("s", 0, "n"), "y = 1\n", "y = 1\nn = 9\n"),
    "an entry without keys": (("s", 1, "n"), "# second\n[[s]]\n", "# second\n[[s]]\nn = 9\n"),
    "one entry more": (("s", 2, "n"), "# second\n[[s]]\n", "# second\n[[s]]\n\n[[s]]\nn = 9\n"),
    "three entries more": (
        ("s", 4, "n"), "# second\n[[s]]\n", "# second\n[[s]]\n\n[[s]]\n\n[[s]]\n\n[[s]]\nn = 9\n"
    ),
    "a table of the last entry": (("s", 1, "w", "n"), "# second\n[[s]]\n", "# second\n[[s]]\n\n[s.w]\nn = 9\n"),
    "a first list": (("r", 1, "n"), "# second\n[[s]]\n", "# second\n[[s]]\n\n[[r]]\n\n[[r]]\nn = 9\n"),
}  # fmt: skip


@pytest.mark.parametrize("case", PUT)
def test_key_is_put_where_it_belongs(case: str) -> None:
    path, before, after = PUT[case]
    assert put(TEXT, path, "9") == TEXT.replace(before, after)


def test_key_is_put_into_an_empty_text() -> None:
    assert put("", ("a",), "9") == "a = 9\n"
    assert put("# c\n", ("a",), "9") == "# c\na = 9\n"
    assert put("", ("a", "b"), "9") == "\n[a]\nb = 9\n"


COMMENTS = {
    "x = 1 # c": "x = 99999 # c", "x = 1          # c": "x = 99999      # c", "x = 1\t# c": "x = 99999 # c",
    "x = 1   ": "x = 99999", "  x=1": "  x=99999", "x = [1, 2] # c": "x = 99999  # c", 'x = "a # b"': 'x = 99999',
}  # fmt: skip


@pytest.mark.parametrize("line", COMMENTS)
def test_comment_stays_in_its_column_where_there_is_room(line: str) -> None:
    assert put(f"{line}\n", ("x",), "99999") == f"{COMMENTS[line]}\n"


WHOLE = PATH.read_text(encoding="utf-8")
LINES = key_lines(WHOLE)
OWN_LINES = [path for path in leaves(tomllib.loads(WHOLE)) if "{" not in WHOLE.splitlines()[LINES[path] - 1]]


def test_most_keys_have_a_line_of_their_own() -> None:
    assert len(OWN_LINES) > 120


def test_each_key_is_changed_in_its_line_alone() -> None:
    for path in OWN_LINES:
        tree = tomllib.loads(WHOLE)
        holder(tree, path)[path[-1]] = "new"
        text = put(WHOLE, path, '"new"')
        assert tomllib.loads(text) == tree
        pairs = list(zip(WHOLE.splitlines(), text.splitlines(), strict=True))
        assert [number for number, (old, new) in enumerate(pairs, 1) if old != new] == [LINES[path]]


def test_keys_are_removed_and_put_back() -> None:
    for path in OWN_LINES[::3]:
        tree = tomllib.loads(WHOLE)
        del holder(tree, path)[path[-1]]
        text = remove(WHOLE, path)
        assert tomllib.loads(text) == tree
        assert remove(text, path) == text
        tree = tomllib.loads(WHOLE)
        number = next((part for part in path if isinstance(part, int)), None)
        if path[0] != "stages" or path[-2] == number:
            assert tomllib.loads(put(text, path, show_value(holder(tree, path)[path[-1]]))) == tree


@pytest.mark.parametrize("path", [("stage",), ("stages", 0), ("stages", 1), ("stages",), ("goal",), ("feed", "pusher")])
def test_commented_table_is_gone_with_those_within(path: Path_) -> None:
    tree = tomllib.loads(WHOLE)
    del holder(tree, path)[path[-1]]
    text = comment_out(WHOLE, path)
    assert tomllib.loads(text) == tree
    assert [line.removeprefix("# ") for line in text.splitlines()] == WHOLE.splitlines()
    if not isinstance(path[-1], int):
        assert comment_out(text, path) == text


def test_comments_are_not_commented_twice() -> None:
    text = "[a]\n# one\n\n  # two\nx = 1\n[b]\ny = 1\n"
    assert comment_out(text, ("a",)) == "# [a]\n# one\n\n  # two\n# x = 1\n[b]\ny = 1\n"


def test_key_of_an_inline_table_is_changed_in_a_file_written_anew(tmp_path: Path) -> None:
    text = VALID.replace('mass = "18 g ± 0.5 g"', 'mass = "18 g ± 0.5 g" # weighed\nspread = {mass = "2 %"}')
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    before = load(path)
    kept = changed(before, path, {"contact.rebound": "0.7"})
    assert kept == text.replace('creep = "0.15 m/s"\n', 'creep = "0.15 m/s"\nrebound = 0.7\n')
    anew = changed(before, path, {"projectile.spread.mass": '"3 %"'}, note="A note.\n\nOf two lines.")
    tree = tomllib.loads(text)
    tree["projectile"]["spread"]["mass"] = "3 %"
    assert anew == f"# A note.\n#\n# Of two lines.\n{show_tree(tree)}"


@pytest.mark.parametrize(
    ("stiffness", "exponent", "further", "expected"),
    [
        ("40 kN/m", "1.5", {}, "40000 N/m^1.5"),
        ("40 kN/m ± 2 kN/m", '"2"', {}, "40000 N/m^2 ± 2000 N/m^2"),
        ("40 kN/m", "1.0", {}, "40 kN/m"),
        ("40 kN/m", "1.5", {"contact.stiffness": '"5 MN/m"'}, "5000000 N/m^1.5"),
        (
            "40 kN/m",
            '"1.5 ± 0.1"',
            {"contact.stiffness": '"5 MN/m^1.5 ± 1 MN/m^1.5"'},
            "5000000 N/m^1.5 ± 1000000 N/m^1.5",
        ),
    ],
)
def test_unit_of_the_stiffness_follows_a_changed_exponent(
    stiffness: str, exponent: str, further: dict[str, str], expected: str, tmp_path: Path
) -> None:
    before = loaded(tmp_path, ('"40 kN/m"', f'"{stiffness}"'))
    text = changed(before, tmp_path / "b.toml", {"contact.exponent": exponent, **further})
    assert tomllib.loads(text)["contact"]["stiffness"] == expected
    assert tomllib.loads(text)["contact"]["exponent"] == tomllib.loads(f"x = {exponent}")["x"]


def test_values_by_dotted_key_give_the_configuration_with_them() -> None:
    text = show_tree(complete())
    whole = understand(PATH, text, "")
    values: dict[str, object] = {
        "stage.crush": "4.5 mm", "stages.1.crush": "3 mm", "stages.4.crush": "3.1 mm", "projectile.spread.mass": "3 %",
        "guide.air_drag": False, "limits.stages": 5, "contact.rebound": 0.7, "title": "Other",
        "stage.wheel_options.1.radius": "31 mm", "contact.rail_friction.coefficient": [0.5, 0.4, 0.3],
    }  # fmt: skip
    after = with_values(whole, values)
    tree = complete()
    tree["stages"].append({})
    for key, value in values.items():
        path: Path_ = tuple(int(part) - 1 if part.isdigit() else part for part in key.split("."))
        holder(tree, path)[path[-1]] = value
    assert after.raw == tree
    assert after.sha256 == hashlib.sha256(after.text.encode()).hexdigest()
    assert (whole.raw, whole.text) == (complete(), text)
    assert after.path == whole.path


@pytest.mark.parametrize(
    ("key", "where", "message"),
    [
        ("stages.2.crush", "stages.2.crush", "is not a key that can hold a value"),
        ("stages.0.crush", "stages.0.crush", "is not a key that can hold a value"),
        ("stage.1.crush", "stage.1.crush", "is not a key that can hold a value"),
        ("title.x", "title.x", "is not a key that can hold a value"),
        ("title.1", "title.1", "is not a key that can hold a value"),
        ("stages.crush", "stages", "must be a list"),
        ("contact.rebound", "contact.rebound", "must be a number"),
        ("guide.frictio", "guide.frictio", "unknown key"),
        ("nothing.x", "nothing", "unknown key"),
    ],
)
def test_value_that_cannot_be_set_is_an_error_at_its_key_without_a_line(
    key: str, where: str, message: str, tmp_path: Path
) -> None:
    before = loaded(tmp_path)
    with pytest.raises((InputError, InputErrors)) as caught:
        with_values(before, {key: []} if "rebound" in key else {key: "x"})
    error = caught.value.errors[0] if isinstance(caught.value, InputErrors) else caught.value
    assert error.where == f"{before.path}: {where}"
    assert error.message == message
    assert error.hint


def test_error_elsewhere_that_follows_from_a_set_value_keeps_its_line(tmp_path: Path) -> None:
    before = loaded(tmp_path)
    with pytest.raises(InputErrors) as caught:
        with_values(before, {"projectile.diameter": "3 mm"})
    (error,) = caught.value.errors
    line = key_lines(before.text)["stage", "crush"]
    assert error.where == f"{before.path}:{line}: stage.crush"
    with pytest.raises(InputErrors) as caught:
        with_values(before, {"stages.1.crush": "40 mm"})
    assert [one.where for one in caught.value.errors] == [f"{before.path}: stages.1.crush"]


def test_a_damaging_change_is_a_fault_that_says_why(tmp_path: Path) -> None:
    with pytest.raises(StagerError, match=r"the changed configuration would not load: .*must be above 0 mm"):
        changed(loaded(tmp_path), tmp_path / "b.toml", {"stage.crush": '"0 mm"'})


def test_place_is_file_and_line_of_a_key_or_of_the_table_that_lacks_it(tmp_path: Path) -> None:
    end = '[[stages]]\nspeed = "9 m/s"\n[[stages]]\ncrush = "3 mm"\n'
    before = loaded(tmp_path, ('crush = "4 mm"', 'crush = "4 mm"\nspeed = "8 m/s"'), end=end)
    lines = before.text.splitlines()
    common, own = lines.index('speed = "8 m/s"') + 1, lines.index('speed = "9 m/s"') + 1
    assert speed_of(before, 0) == f"{before.path}:{own}: stages.1.speed"
    assert [speed_of(before, k) for k in (1, 2)] == [f"{before.path}:{common}: stage.speed"] * 2
    assert place_of(before, ("feed", "rate")) == f"{before.path}:{lines.index('[feed]') + 1}: feed.rate"
    assert speed_of(loaded(tmp_path), 0).endswith(f":{VALID.splitlines().index('[stage]') + 1}: stage.speed")


@pytest.mark.parametrize(
    ("key", "value", "uncertainty", "text"),
    [
        ("projectile.mass", 0.02, 0.001, '"20.0 g ± 1.0 g"'),
        ("projectile.mass", 0.02, 0.0, '"20 g"'),
        ("contact.friction.static", 0.7, 0.1, '"0.70 ± 0.10"'),
        ("contact.friction.sliding", 0.25, 0.0, "0.25"),
        ("stage.drive.speed_constant", 100 * math.pi, 0.0, '"3000 rpm/V"'),
    ],
)
def test_value_is_written_in_the_unit_of_the_file(
    key: str, value: float, uncertainty: float, text: str, tmp_path: Path
) -> None:
    assert loaded(tmp_path).to_toml(key, value, uncertainty) == text
    with pytest.raises(KeyError):
        loaded(tmp_path).to_toml("stage.cruch", 1.0)


RANGED = 'crush = "4 mm ± 0.2 mm"\ncrush_range = ["2 mm", "6 mm"]\nmass = "600 g"'
STAGES = '[[stages]]\n[[stages]]\ncrush = "3 mm"\n[stages.wheel]\nradius_range = ["30 mm", "60 mm"]\n[[stages]]\n'


def test_ranges_are_named_where_they_stand(tmp_path: Path) -> None:
    assert ranges(loaded(tmp_path)) == []
    assert ranges(loaded(tmp_path, ('crush = "4 mm"', RANGED), end=STAGES)) == [
        "stage.crush_range", "stages.2.wheel.radius_range",
    ]  # fmt: skip


def test_changed_variables_are_written_for_one_or_all_stages(tmp_path: Path) -> None:
    before = loaded(tmp_path, ('crush = "4 mm"', RANGED), end=STAGES)
    stages = [before.scenario().launcher.stage(k) for k in range(4)]

    def written(*crushes: float) -> dict[str, str]:
        return variable_values(before, [replace(one, crush=c) for one, c in zip(stages, crushes, strict=False)])

    assert written(0.004, 0.003, 0.004, 0.004) == {}
    # Stages 1, 3 and 4 share [stage]; stage 2 has its own.
    assert written(0.005, 0.003, 0.005, 0.005) == {"stage.crush": '"5 mm ± 0.2 mm"'}
    assert written(0.005, 0.0031, 0.005, 0.005) == {"stage.crush": '"5 mm ± 0.2 mm"', "stages.2.crush": '"3.1 mm"'}
    assert written(0.005, 0.003, 0.0051) == {
        "stages.1.crush": '"5 mm ± 0.2 mm"', "stages.3.crush": '"5.1 mm ± 0.2 mm"'
    }  # fmt: skip
    assert written(0.005, 0.003, 0.004) == {"stages.1.crush": '"5 mm ± 0.2 mm"'}
    # Below a share of 1e-12 it is rounding.
    assert written(0.004 * (1 + 1e-13), 0.003, 0.004) == {}
    heavier = [replace(one, mass=0.9) for one in stages]
    assert variable_values(before, heavier) == {"stage.mass": '"900 g"'}
    assert variable_values(before, [replace(stages[0], mass=None), *heavier[1:]]) == {}


@pytest.mark.parametrize("limits", ["", " limits"])
def test_uncertainty_of_a_changed_variable_is_relative_but_for_the_crush(limits: str, tmp_path: Path) -> None:
    wheel = (
        'radius = "40 mm ± 0.4 mm' + limits + '"\ninertia = "4e-5 kg m^2 ± 1e-5 kg m^2' + limits + '"\nmass = "80 g"'
    )
    edits = ('radius = "40 mm"', wheel), ('crush = "4 mm"', f'crush = "4 mm ± 0.2 mm{limits}"')
    before = loaded(tmp_path, *edits)
    stage = before.scenario().launcher.stage(0)
    made = replace(stage, crush=0.005, wheel=replace(stage.wheel, radius=0.08, inertia=6e-5, width=0.02, mass=0.16))
    assert variable_values(before, [made]) == {
        "stage.crush": f'"5 mm ± 0.2 mm{limits}"',
        "stage.wheel.radius": f'"80 mm ± 0.8 mm{limits}"',
        "stage.wheel.inertia": f'"6e-05 kg m^2 ± 1.5e-05 kg m^2{limits}"',
        "stage.wheel.width": '"20 mm"', "stage.wheel.mass": '"160 g"',
    }  # fmt: skip


def test_draws_of_a_fit_keep_a_stage_from_being_changed(tmp_path: Path) -> None:
    (tmp_path / "d.csv").write_text("stages.2.crush,contact.stiffness\n0.003,4e4\n0.0031,4.1e4\n", encoding="utf-8")
    title = ('title = "Right"', 'title = "Right"\ndraws = "d.csv"')
    before = loaded(tmp_path, title, ('crush = "4 mm"', RANGED), end=STAGES)
    assert before.draws is not None
    np.testing.assert_array_equal(before.draws["stages.2.crush"], [0.003, 0.0031])
    stages = [before.scenario().launcher.stage(k) for k in range(3)]
    # What [stage] holds is in the draws of all stages: each gets its own value.
    other = [replace(stages[0], crush=0.005), stages[1], replace(stages[2], crush=0.005)]
    assert list(variable_values(before, other)) == ["stages.1.crush", "stages.3.crush"]
    with pytest.raises(InputError) as caught:
        variable_values(before, [stages[0], replace(stages[1], crush=0.005), stages[2]])
    assert caught.value.where == "stages.2.crush"
    assert caught.value.message == "the draws of a fit hold the crush as it was measured"
    assert caught.value.hint


def test_lists_and_draws_go_along_to_another_folder_and_not_to_a_pipe(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    home, away = tmp_path / "home", tmp_path / "away"
    home.mkdir()
    away.mkdir()
    (home / "d.csv").write_text("contact.stiffness\n4e4\n4.1e4\n", encoding="utf-8")
    (home / "w.csv").write_text("name,radius [mm],inertia [kg m^2]\na,30,1e-5\n", encoding="utf-8")
    edits = (
        ('title = "Right"', 'title = "Right"\ndraws = "d.csv"'),
        ('crush = "4 mm"', 'crush = "4 mm"\nwheel_list = "w.csv"'),
    )
    before = loaded(home, *edits)
    assert save(before, home / "b.toml", {}, note="N.") == [home / "b.toml"]
    assert load(home / "b.toml").raw["draws"] == "d.csv"
    assert save(before, away / "b.toml", {}, note="N.") == [
        away / "b.toml", away / "b.draws.csv", away / "w.csv",
    ]  # fmt: skip
    after = load(away / "b.toml")
    assert after.raw["draws_sha256"] == hashlib.sha256((away / "b.draws.csv").read_bytes()).hexdigest()
    assert "# N.\n" in after.text
    assert "correlations" not in after.text
    assert after.scenario().launcher == before.scenario().launcher
    given = {"contact.stiffness": np.array([3e4, 5e4])}
    assert save(before, home / "c.toml", {}, draws=given) == [home / "c.toml", home / "c.draws.csv"]
    fitted = load(home / "c.toml")
    assert fitted.draws is not None
    assert fitted.draws["contact.stiffness"].tolist() == [3e4, 5e4]
    assert "# Draws of the fit, with their correlations, are in c.draws.csv.\n" in fitted.text.replace("#  ", "# ")
    assert (home / "c.draws.csv").read_text("utf-8").splitlines()[1] == "# Equally likely draws after a fit, SI units."
    save(before, Path("-"), {}, draws=given)
    written = capfdbinary.readouterr().out.decode()
    assert "draws" not in tomllib.loads(written)
    assert sorted(one.name for one in away.iterdir()) == ["b.draws.csv", "b.toml", "w.csv"]


def test_schema_line_moves_with_the_file(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text("#:schema s/x.json\n" + VALID, encoding="utf-8")
    before = load(tmp_path / "a.toml")
    for place, moved in (("b.toml", "s/x.json"), ("b/c/d.toml", "../../s/x.json"), ("s/e.toml", "x.json")):
        text = changed(before, tmp_path / place, {"contact.rebound": "0.7"}, note="N.")
        assert text.startswith(f"#:schema {moved}\n# N.\ntitle")
    assert dotted(("a", 0, "b")) == "a.1.b"


def test_marks_of_windows_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(("\ufeff" + VALID.replace("\n", "\r\n")).encode())
    assert changed(load(path), path, {"contact.rebound": "0.7"}) == VALID.replace(
        'creep = "0.15 m/s"\n', 'creep = "0.15 m/s"\nrebound = 0.7\n'
    )
