"""Questions of a first configuration: which are asked, what they propose, and what is estimated from the answers."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from stager.config.load import understand
from stager.config.scaffold import NONE, QUESTIONS, Question, complete, read_answer, start
from stager.units import parse
from tests.cli.run import TEMPLATE

TEXT = TEMPLATE.read_text(encoding="utf-8")
BY_NAME = {question.name: question for question in QUESTIONS}
ALWAYS = {"shape", "mass", "width", "layout", "radius", "motor", "rate", "energy", "stages", "longest"}


@pytest.mark.parametrize(
    ("given", "further"),
    [
        ({}, set()),
        ({"shape": "hollow ball"}, set()),
        ({"shape": "rod"}, {"length"}),
        ({"shape": "disc"}, {"thickness"}),
        ({"shape": "ring", "motor": "900 rpm/V"}, {"thickness", "case", "supply"}),
        ({"motor": "900 rpm/V"}, {"case", "supply"}),
    ],
)
def test_questions_follow_from_the_answers_before(given: dict[str, str], further: set[str]) -> None:
    assert set(complete(given)) == ALWAYS | further


# What a bare number means, in SI units.
BARE = {
    "mass": 1e-3, "width": 1e-3, "length": 1e-3, "thickness": 1e-3, "radius": 1e-3, "motor": math.pi / 30,
    "case": 1e-3, "supply": 1.0, "rate": 1.0, "energy": 1.0, "longest": 1e-3,
}  # fmt: skip


def test_every_quantity_has_a_usual_unit() -> None:
    assert {question.name for question in QUESTIONS if not question.choices} == set(BARE)


@pytest.mark.parametrize("typed", ["20", "2e1", "20.0", "0.2e+2", " 20 ", "200e-1"])
@pytest.mark.parametrize("name", BARE)
def test_bare_number_has_the_usual_unit(name: str, typed: str) -> None:
    question = BY_NAME[name]
    answer = read_answer(question, typed)
    assert answer == f"{typed.strip()} {question.written}"
    assert parse(answer, question.unit, "1").value == pytest.approx(20 * BARE[name])
    # Written together, as people type it: the same, with a blank.
    blank = "" if question.written.startswith("/") else " "
    assert read_answer(question, f"20{question.written}") == f"20{blank}{question.written}"


@pytest.mark.parametrize("name", BARE)
@pytest.mark.parametrize("typed", ["", "-3", "0", "20 florins", "inf", "nan", "20 K", "3 ± 1 ± 1", "heavy"])
def test_quantity_that_is_none_is_refused(name: str, typed: str) -> None:
    with pytest.raises(ValueError, match=r"write it like|must be above 0|did you mean"):
        read_answer(BY_NAME[name], typed)
    with pytest.raises(ValueError, match=r"must be above 0 \(got -3 "):
        read_answer(BY_NAME[name], f"-3 {BY_NAME[name].written}")


@pytest.mark.parametrize("question", [one for one in QUESTIONS if one.choices], ids=lambda one: one.name)
def test_word_may_be_shortened_as_far_as_it_is_the_only_one(question: Question) -> None:
    for word in question.choices:
        assert read_answer(question, f"  {word.upper().replace(' ', '   ')} ") == word
        for end in range(1, len(word)):
            short = word[:end]
            others = [one for one in question.choices if one.startswith(short)]
            if len(others) == 1 or short in question.choices:
                assert read_answer(question, short) == (short if short in question.choices else word)
            else:
                with pytest.raises(ValueError, match=f'"{short}" is not one of {question.choices[0]}'):
                    read_answer(question, short)
    for wrong in ("", " ", "xyz", "0"):
        with pytest.raises(ValueError, match="is not one of"):
            read_answer(question, wrong)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda one: one.name)
def test_no_motor_is_an_answer_to_that_question_only(question: Question) -> None:
    if question.name == "motor":
        assert read_answer(question, " None ") == NONE
        return
    with pytest.raises(ValueError, match=r"write it like|is not one of"):
        read_answer(question, NONE)


def test_proposals_are_fixed_or_follow_from_sizes() -> None:
    assert {question.name: question.usual({}) for question in QUESTIONS} == {
        "shape": "ball", "mass": "18 g ± 0.5 g", "width": "38 mm", "length": "95 mm", "thickness": "11 mm",
        "layout": "pair", "radius": "40 mm", "motor": NONE, "case": "28 mm", "supply": "14.8 V", "rate": "1 /s",
        "energy": "8 J", "stages": "4", "longest": "600 mm",
    }  # fmt: skip
    given = {"width": "60 mm", "mass": "100 g", "radius": "80 mm", "stages": "3"}
    names = ("length", "thickness", "radius", "case", "energy", "longest")
    assert {name: BY_NAME[name].usual(given) for name in names} == {
        "length": "150 mm",  # 2.5 widths
        "thickness": "18 mm",  # 0.3 widths
        "radius": "63 mm",  # 1.05 widths
        "case": "56 mm",  # 0.7 radii
        "energy": "45 J",  # ½ · 0.1 kg · (30 m/s)²
        "longest": "750 mm",  # 1.5 · 3 stages of 166 mm, two digits
    }  # fmt: skip
    # A wheel is not smaller than 25 mm; as long as the size before is the usual one, so is what follows.
    assert BY_NAME["radius"].usual({"width": "10 mm"}) == "25 mm"
    assert BY_NAME["case"].usual({"radius": "40 mm", "width": "60 mm"}) == "28 mm"
    assert BY_NAME["energy"].usual({"mass": "18 g ± 0.5 g"}) == "8 J"


@pytest.mark.parametrize(
    ("name", "first", "answer", "proposal"),
    [
        ("length", "width", "95 mm", "240 mm"),
        ("thickness", "width", "11 mm", "3.3 mm"),
        ("radius", "width", "40 mm", "42 mm"),
        ("case", "radius", "28 mm", "20 mm"),
    ],
)
def test_size_before_that_equals_the_usual_proposal_is_taken_as_it_is(
    name: str, first: str, answer: str, proposal: str
) -> None:
    assert BY_NAME[name].usual({first: answer}) == proposal


ESTIMATES: list[tuple[dict[str, str], dict[str, str]]] = [
    (
        {"shape": "rod", "width": "13 mm", "mass": "1.2 g"},
        {
            "projectile.length": "32 mm", "limits.exit_energy": "0.54 J", "limits.length": "370 mm",
            "stage.crush": "1.4 mm ± 0.1 mm",  # 0.105 · 13 mm ± 10 %
            "contact.stiffness": "16 kN/m ± 8 kN/m",  # 0.54 J / (8 · (0.7 mm)^1.5 · (50 mm)^0.5) ± 50 %
            "outlet.loss": "0.0014 J ± 0.001 J",  # 0.25 % of 0.54 J ± 100 %
            "stage.speed": "12 m/s",  # 0.4 · (2 · 0.54 J / 1.2 g)^0.5
            "stage.wheel.radius": "25 mm ± 0.2 mm",
            "stage.wheel.inertia": "6.1e-6 kg m^2 ± 2e-6 kg m^2",  # 15.6 kg/m² · (25 mm)⁴ ± 25 %
        },
    ),
    (
        {
            "shape": "disc", "layout": "rail", "energy": "20 J", "motor": "2000 rpm/V", "case": "14 mm",
            "supply": "7.4 V",
        },
        {
            "projectile.thickness": "11 mm", "limits.exit_energy": "20 J", "supply.voltage": "7.4 V",
            "stage.crush": "2 mm ± 0.2 mm",  # half of a pair's, as the wheel alone takes it
            "contact.stiffness": "99 kN/m ± 50 kN/m",  # 20 J / (8 · (2 mm)^1.5 · (80 mm)^0.5)
            "outlet.loss": "0.05 J ± 0.05 J", "stage.speed": "19 m/s",
            # Half the size: 2^5 times (1/Kv / 0.0278)², a quarter of the currents
            "stage.drive.resistance": "940 mohm ± 300 mohm", "stage.drive.no_load_current": "0.28 A ± 0.1 A",
            "stage.drive.current_limit": "7.5 A",
        },
    ),
    (
        {"shape": "ring", "width": "200 mm", "mass": "200 g", "radius": "150 mm", "layout": "idler"},
        {
            "stage.crush": "16 mm ± 2 mm",  # 0.105 · 150 mm, the smaller one
            "stage.idler.inertia": "0.0079 kg m^2 ± 0.002 kg m^2",
            "stage.wheel.inertia": "0.0079 kg m^2 ± 0.002 kg m^2",
            "limits.exit_energy": "90 J", "projectile.thickness": "60 mm",
        },
    ),
]  # fmt: skip


@pytest.mark.parametrize(("given", "expected"), ESTIMATES)
def test_estimates_follow_from_the_answers(given: dict[str, str], expected: dict[str, str]) -> None:
    text = start(TEXT, Path("a.toml"), given)
    configuration = understand(Path("a.toml"), text, "")
    for key, value in expected.items():
        found: object = configuration.raw
        for part in key.split("."):
            assert isinstance(found, dict)
            found = found[part]
        assert found == value, key
    raw = configuration.raw
    assert ("drive" in raw["stage"], "supply" in raw) == ("motor" in given, "motor" in given)
    assert raw["projectile"].keys() >= {"shape", "mass", "diameter"}
    assert ("length" in raw["projectile"]) == (given["shape"] == "rod")
    assert ("thickness" in raw["projectile"]) == (given["shape"] in ("disc", "ring"))
    # The template's line for a thickness is replaced, not kept beside the answer.
    assert len(re.findall(r"(?m)^#? ?thickness =", text)) == 1


def test_questions_are_complete_sentences_for_a_reader() -> None:
    for question in QUESTIONS:
        assert question.text[0].isupper()
        assert question.help
        assert all(choice == choice.lower() for choice in question.choices)
    assert BY_NAME["stages"].choices == tuple(map(str, range(1, 13)))
