"""Lists of wheels and drives beside a configuration: read as options, checked at their own lines, saved along."""

from __future__ import annotations

from pathlib import Path

import pytest

from stager import api
from stager.config import load
from stager.errors import InputErrors
from tests.broken.corpus import VALID

DRIVES = """# what lies in the drawer
name,speed_constant [rpm/V],resistance [mohm],no_load_current [A],governed,mass [g],cost,heat.winding_capacity [J/K]
grey,900,90 ± 5,0.4,yes,55,12,
red,1800 rpm/V,45 ± 4 %,,,0.08 kg,20,
"""
WHEELS = "name;radius [mm];width [mm];material;tyre.material;tyre.depth [mm]\nwide;40,5;20;acetal;nitrile 70;3\n"
HEAT = ",heat.winding_to_case [K/W],heat.case_capacity [J/K]"


def _text(*keys: str) -> str:
    return VALID.replace('crush = "4 mm"\n', "\n".join(['crush = "4 mm"', *keys, ""]))


def _file(folder: Path, *keys: str, drives: str = DRIVES, wheels: str = WHEELS) -> Path:
    (folder / "drives.csv").write_text(drives, encoding="utf-8")
    (folder / "wheels.csv").write_text(wheels, encoding="utf-8")
    path = folder / "a.toml"
    path.write_text(_text(*keys), encoding="utf-8")
    return path


def _errors(folder: Path, *keys: str, drives: str = DRIVES, wheels: str = WHEELS) -> list[str]:
    with pytest.raises(InputErrors) as caught:
        load(_file(folder, *keys, drives=drives, wheels=wheels))
    return [str(error).removeprefix(f"{folder}/") for error in caught.value.errors]


def test_lists_continue_the_options(tmp_path: Path) -> None:
    own = 'drive_options = [{name = "own", speed_constant = "1000 rpm/V", resistance = "80 mohm"}]'
    path = _file(tmp_path, own, 'drive_list = "drives.csv"', 'wheel_list = "wheels.csv"')
    configuration = load(path)
    stage = configuration.scenario().launcher.template
    assert [drive.name for drive in stage.drive_options] == ["own", "grey", "red"]
    grey, red = stage.drive_options[1:]
    assert (grey.resistance, grey.no_load_current, grey.governed, grey.cost) == (0.09, 0.4, True, 12.0)
    assert (red.mass, red.governed, red.heat, red.no_load_known) == (0.08, False, None, False)
    assert red.speed_constant == pytest.approx(1800 * 3.14159265358979 / 30)
    found = configuration.quantities
    assert found["stage.drive_options.2.resistance"].standard_uncertainty == pytest.approx(0.005)
    assert found["stage.drive_options.3.resistance"].standard_uncertainty == pytest.approx(0.0018)
    (wide,) = stage.wheel_options
    assert (wide.radius, wide.width) == (pytest.approx(0.0405), pytest.approx(0.02))
    assert wide.tyre is not None
    assert wide.tyre.material.name == "nitrile 70"


def test_parts_of_a_list_may_differ_between_builds(tmp_path: Path) -> None:
    scenario = load(_file(tmp_path, 'drive_list = "drives.csv"')).scenario()
    launcher = scenario.realise({"stage.drive_options.1.resistance": 0.1})
    assert launcher.template.drive_options[0].resistance == 0.1
    assert "stage.drive_options.1.resistance" in [one.key for one in scenario.uncertain]


def test_entry_of_stages_may_have_a_list_of_its_own(tmp_path: Path) -> None:
    path = _file(tmp_path, 'drive_list = "drives.csv"')
    (tmp_path / "second.csv").write_text("name,speed_constant [rpm/V],resistance [mohm]\nblue,700,120\n", "utf-8")
    own = '[[stages]]\ndrive_option = "red"\n[[stages]]\ndrive_list = "second.csv"\n'
    path.write_text(path.read_text("utf-8") + own, "utf-8")
    first, second = load(path).scenario().launcher.stages
    assert first.drive is not None
    assert first.drive.name == "red"
    assert [drive.name for drive in second.drive_options] == ["blue"]


@pytest.mark.parametrize(
    ("drives", "error"),
    [
        (DRIVES.replace("90 ± 5", "-90"), "drives.csv:3: resistance: must be above 0"),
        (DRIVES.replace("90 ± 5", ""), "drives.csv:3: resistance: is missing"),
        (DRIVES.replace("90 ± 5", "90 mm"), "drives.csv:3: resistance: "),
        (DRIVES.replace("yes", "perhaps"), "drives.csv:3: governed: must be true or false"),
        (DRIVES.replace("resistance [mohm]", "resistance [mm]"), "drives.csv:2: resistance [mm]: "),
        (DRIVES.replace("resistance [mohm]", "resistance"), "drives.csv:3: resistance: "),
        (DRIVES.replace("resistance [mohm]", "resistence [mohm]"), "drives.csv:2: resistence [mohm]: is not a key"),
        (DRIVES.replace("governed", "cost [g]"), "drives.csv:2: cost [g]: has no unit"),
        (DRIVES.replace("governed", "heat"), "drives.csv:2: heat: is a table"),
        (DRIVES.replace("governed", "mass [kg]"), "drives.csv:2: mass [g]: stands twice"),
        (DRIVES.replace("name,", "label,"), "drives.csv:2: label: is not a key of such a part"),
        (DRIVES.replace("red", "grey"), "drives.csv:4: name: is the name of a part of line 3 already"),
        (DRIVES.replace("red", ""), "drives.csv:4: name: is missing"),
        (DRIVES.replace(",20,", ",20,,7"), "drives.csv:4: has 9 cells under 8 heads"),
        (DRIVES.replace(",12,\n", ",12,9\n"), "drives.csv:3: heat.winding_to_case: is missing"),
        ("# nothing\n", "drives.csv: holds no table"),
        (DRIVES + "".join(f"m{n},900,90,,,,,\n" for n in range(99)), "drives.csv:103: is one part more than the 100"),
        (DRIVES + "x" * 1001 + "\n", "drives.csv:5: is a line of more than 1000 characters"),
        (DRIVES.replace("\n", "," * 60 + "\n"), "drives.csv:2: has more than 60 columns"),
    ],
)  # fmt: skip
def test_wrong_list_is_reported_at_its_line(drives: str, error: str, tmp_path: Path) -> None:
    found = _errors(tmp_path, 'drive_list = "drives.csv"', drives=drives)
    assert any(one.startswith(error) for one in found), found


def test_limits_need_the_same_of_parts_in_a_list(tmp_path: Path) -> None:
    path = _file(tmp_path, 'wheel_list = "wheels.csv"', wheels="name,radius [mm],inertia [kg m^2]\nodd,30,4e-5\n")
    path.write_text(path.read_text("utf-8").replace("[limits]", "[limits]\nrim_safety = 2.0"), "utf-8")
    with pytest.raises(InputErrors, match=r"wheels.csv:2: yield_strength: is missing: limits.rim_safety needs it"):
        load(path)


@pytest.mark.parametrize("name", ["../drives.csv", "/etc/passwd", "none.csv", ".", "sub/drives.csv", "secret.txt"])
def test_lists_are_read_beside_the_configuration_only(name: str, tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("token hunter2\n", encoding="utf-8")
    (error,) = _errors(tmp_path, f'drive_list = "{name}"')
    assert error.startswith(f'a.toml:{_text("x").splitlines().index("x") + 1}: stage.drive_list: "{name}" cannot be')
    assert "hunter2" not in error


def test_part_is_chosen_by_name(tmp_path: Path) -> None:
    keys = ['drive_list = "drives.csv"', 'drive_option = "red"']
    drive = load(_file(tmp_path, *keys)).scenario().launcher.template.drive
    assert drive is not None
    assert drive.name == "red"
    (error,) = _errors(tmp_path, keys[0], 'drive_option = "rde"')
    assert 'there is no option "rde"' in error


def test_plan_chooses_from_lists_and_names_what_it_chose(tmp_path: Path) -> None:
    home, away = tmp_path / "home", tmp_path / "away"
    home.mkdir()
    away.mkdir()
    own = ["cost = 40.0", "drive_option = 0", 'wheel_list = "wheels.csv"']
    path = _file(home, *own)
    text = path.read_text("utf-8").replace("stages = 4", "stages = 1")
    path.write_text(text, "utf-8")
    loaded = api.load(path)
    assert [file.name for file in loaded.files] == ["a.toml", "wheels.csv"]
    plan = loaded.plan(draws=0)
    assert plan.catalogue is not None
    assert len(plan.catalogue.options) == 2
    loaded.save_plan(plan, away / "b.toml")
    saved = (away / "b.toml").read_text("utf-8")
    chosen = plan.catalogue.numbers[0].wheel
    assert ('wheel_option = "wide"' if chosen else "wheel_option = 0") in saved
    again = api.load(away / "b.toml").scenario.launcher.stage(0)
    assert again.wheel.name == ("wide" if chosen else "")
    assert (away / "wheels.csv").is_file()


def test_heads_are_shown_without_control_characters(tmp_path: Path) -> None:
    (error,) = _errors(tmp_path, 'drive_list = "drives.csv"', drives=DRIVES.replace("cost", "c\x1b[31most"))
    assert "\x1b" not in error
