"""A first configuration from a few answers; other values are estimated from them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from stager.config.load import understand
from stager.config.save import put
from stager.config.toml import show_value
from stager.units import QuantityError, parse

NONE = "none"
Answers = Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    name: also that of the flag; text; help: shown for "?"
    unit: SI, "" for words; written: unit of a bare number
    usual: the default, from the answers before; asked: whether it is asked, from the answers before
    choices: words that the answer may be
    """

    name: str
    text: str
    help: str
    unit: str = ""
    written: str = ""
    usual: Callable[[Answers], str]
    asked: Callable[[Answers], bool] = lambda answers: True
    choices: tuple[str, ...] = ()


def _si(answers: Answers, name: str) -> float:
    question = next(one for one in QUESTIONS if one.name == name)
    return parse(answers[name], question.unit, question.usual({})).value


def _fixed(text: str) -> Callable[[Answers], str]:
    return lambda answers: text


def _of(
    first: str, text: str, compute: Callable[[Answers], float], factor: float, unit: str
) -> Callable[[Answers], str]:
    """Return a default: `text` while the answer `first` is the default, else computed to two digits."""

    def usual(answers: Answers) -> str:
        question = next(one for one in QUESTIONS if one.name == first)
        if answers.get(first) in (None, question.usual({})):
            return text
        return f"{_round(compute(answers) * factor):g} {unit}"

    return usual


def _longest(answers: Answers) -> str:
    """Return half as much again as the wheels need along the barrel, and the length of a rod, which counts too."""
    wheels = _of("radius", "600 mm", lambda a: 1.5 * int(a["stages"]) * (2 * _si(a, "radius") + 0.006), 1e3, "mm")
    if answers.get("shape") != "rod":
        return wheels(answers)
    return f"{_round(_si({'longest': wheels(answers)}, 'longest') * 1e3 + _si(answers, 'length') * 1e3):g} mm"


def _round(value: float) -> float:
    return float(f"{value:.2g}")


QUESTIONS: tuple[Question, ...] = (
    Question(
        name="shape", text="What is thrown", usual=_fixed("ball"),
        choices=("ball", "hollow ball", "disc", "ring", "rod"),
        help="a disc or ring is gripped at its edge; a rod flies along its axis",
    ),
    Question(
        name="mass", text="Its mass", unit="kg", written="g", usual=_fixed("18 g ± 0.5 g"),
        help="weigh ten and divide; ± is one standard uncertainty and may be left out",
    ),
    Question(
        name="width", text="Its width where the wheels grip it", unit="m", written="mm", usual=_fixed("38 mm"),
        help="the diameter",
    ),
    Question(
        name="length", text="Its length along the barrel", unit="m", written="mm",
        usual=_of("width", "95 mm", lambda a: 2.5 * _si(a, "width"), 1e3, "mm"),
        asked=lambda answers: answers["shape"] == "rod", help="of the rod",
    ),
    Question(
        name="thickness", text="Its thickness", unit="m", written="mm",
        usual=_of("width", "11 mm", lambda a: 0.3 * _si(a, "width"), 1e3, "mm"),
        asked=lambda answers: answers["shape"] in ("disc", "ring"), help="across the flat side",
    ),
    Question(
        name="layout", text="Layout of a stage", choices=("pair", "rail", "idler"), usual=_fixed("pair"),
        help="pair: two driven wheels; rail: a wheel against a fixed strip; idler: one wheel drives, one turns freely",
    ),
    Question(
        name="radius", text="Radius of a wheel", unit="m", written="mm",
        usual=_of("width", "40 mm", lambda a: max(0.025, 1.05 * _si(a, "width")), 1e3, "mm"),
        help="to the outside of its tyre, at rest",
    ),
    Question(
        name="motor", text="Speed constant of a motor, or none", unit="rad/s/V", written="rpm/V", usual=_fixed(NONE),
        help='"Kv" on its label, as "1400 rpm/V"; with none, throttle, power and current are left out',
    ),
    Question(
        name="case", text="Diameter of the motor's case", unit="m", written="mm",
        usual=_of("radius", "28 mm", lambda a: 0.7 * _si(a, "radius"), 1e3, "mm"),
        asked=lambda answers: answers["motor"] != NONE,
        help="small motors have far more resistance and take far less current",
    ),
    Question(
        name="supply", text="Voltage of the supply", unit="V", written="V", usual=_fixed("14.8 V"),
        asked=lambda answers: answers["motor"] != NONE, help="of the battery or power supply under load",
    ),
    Question(
        name="rate", text="Throws per second", unit="1/s", written="/s", usual=_fixed("1 /s"),
        help="as it shall go on, for heat and wheels that recover",
    ),
    Question(
        name="energy", text="Greatest exit energy", unit="J", written="J",
        usual=_of("mass", "8 J", lambda a: 0.5 * _si(a, "mass") * 30**2, 1.0, "J"),
        help="half mass times speed squared; the lowest of the legal, site and target limits",
    ),
    Question(
        name="stages", text="Most stages", usual=_fixed("4"), help="a whole number from 1 to 12",
        choices=tuple(str(k) for k in range(1, 13)),
    ),
    Question(
        name="longest", text="Greatest length along the barrel", unit="m", written="mm",
        usual=_longest,
        help="from the first wheel's front to the last one's end",
    ),
)  # fmt: skip


def read_answer(question: Question, text: str) -> str:
    """Return an answer as in a file: words may be shortened, a bare number gets the usual unit.

    Raises ValueError with the problem and a hint.
    """
    said = " ".join(text.split())
    if question.choices:
        found = [one for one in question.choices if one == said.lower()]
        found = found or [one for one in question.choices if said and one.startswith(said.lower())]
        if len(found) != 1:
            raise ValueError(f'"{said}" is not one of {", ".join(question.choices)}')
        return found[0]
    if said.lower() == NONE and question.usual({}) == NONE:
        return NONE
    if re.fullmatch(r"[\d.]+(e[+-]?\d+)?", said):
        said = f"{said} {question.written}"
    said = re.sub(r"(?<=\d)(?=[a-df-zA-DF-Z])", " ", said)
    example = question.usual({}) if question.usual({}) != NONE else "1400 rpm/V"
    try:
        value = parse(said, question.unit, example).value
    except QuantityError as error:
        raise ValueError(f"{error}; {error.hint}") from error
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"must be above 0 (got {said})")
    return said


def complete(given: Answers) -> dict[str, str]:
    """Return all answers, with defaults for those that are not given."""
    answers: dict[str, str] = {}
    for question in QUESTIONS:
        if question.name in given:
            answers[question.name] = given[question.name]
        elif question.asked(answers):
            answers[question.name] = question.usual(answers)
    return answers


def start(template: str, path: Path, given: Answers) -> str:
    """Return the text of a configuration: the template with the answers. Raises InputErrors where they conflict."""
    if not given:
        return template
    answers = complete(given)
    text = template if "thickness" not in answers else _without(template, "# thickness =")
    if answers["motor"] != NONE:
        text = _uncommented(_uncommented(text, "[stage.drive]"), "[supply]")
    for key, value in _values(answers).items():
        text = put(text, tuple(key.split(".")), value)
    understand(path, text, "")
    return text


def _values(answers: Answers) -> dict[str, str]:
    """Return TOML text by key: the answers and the estimates."""
    said = {
        "projectile.shape": "shape", "projectile.mass": "mass", "projectile.diameter": "width",
        "projectile.length": "length", "projectile.thickness": "thickness", "feed.rate": "rate",
        "stage.layout": "layout", "stage.drive.speed_constant": "motor",
        "supply.voltage": "supply", "limits.exit_energy": "energy", "limits.length": "longest",
    }  # fmt: skip
    values = {key: show_value(answers[name]) for key, name in said.items() if answers.get(name, NONE) != NONE}
    return values | {"limits.stages": answers["stages"]} | _guesses(answers)


def _guesses(answers: Answers) -> dict[str, str]:
    """Return estimates of crush, stiffness, outlet loss, wheel and set speed.

    Crush: about a tenth of the smaller of width and wheel radius, so that the nip draws the projectile in; less
    of a rod beside an idler, which pushes it back too. Stiffness: one stage gives about a sixth of the allowed energy.
    Set speed: two fifths of the speed at that energy. Inertia: that of a light wheel, or more, as the projectile stops
    one that is much lighter than itself, and a rod, squeezed along its length, a heavier one too. A rod must bring an
    idler to speed, which is lighter then, and slides on a rail, which must rub less than the wheel.
    """
    mass, width, radius = (_si(answers, name) for name in ("mass", "width", "radius"))
    energy = _si(answers, "energy")
    layout, rod = answers["layout"], answers["shape"] == "rod"
    share = 0.5 if layout == "rail" else 0.25 if layout == "idler" and rod else 1.0
    crush = _round(0.105 * min(width, radius)) * share
    side = crush if layout == "rail" else crush / 2
    stiffness = _round(energy / (8 * side**1.5 * math.sqrt(2 * radius)) / 1000)
    light = 15.6 * radius**4  # [kg m^2]
    heavy = 8.0 if rod else 1.4
    values = {
        "contact.stiffness": _guess(stiffness, 0.5, "kN/m"),
        "outlet.loss": _guess(_round(0.0025 * energy), 1.0, "J"),
        "stage.crush": _guess(1e3 * crush, 0.1, "mm"),
        "stage.speed": show_value(f"{_round(0.4 * math.sqrt(2 * energy / mass)):g} m/s"),
        "stage.wheel.radius": _guess(1e3 * radius, 0.01, "mm"),
        "stage.wheel.inertia": _guess(_round(max(light, heavy * mass * radius**2)), 0.25, "kg m^2"),
    }
    if layout == "idler":
        values["stage.idler"] = f"{{ inertia = {_guess(_round(light * (0.1 if rod else 1.0)), 0.25, 'kg m^2')} }}"
    if layout == "rail" and rod:
        values["contact.rail_friction"] = '{ law = "constant", coefficient = "0.15 ± 0.05" }'
    return values | (_motor(answers) if answers["motor"] != NONE else {})


MOTOR_CONSTANT = 0.0278
"""Kt/√R of a motor whose case has the diameter CASE_DIAMETER [N m/√W]; typical, from memory."""
CASE_DIAMETER = 0.028
"""[m]"""


def _motor(answers: Answers) -> dict[str, str]:
    """Return estimates of resistance and currents from the size of the motor.

    Of motors alike in all but the diameter D, at one current density, torque goes with D⁴ and the loss with D³: Kt/√R,
    the torque by the root of the loss, with D^2.5, whatever the turns. Currents go with D², as the cooled surface.
    """
    size = _si(answers, "case") / CASE_DIAMETER
    torque = 1 / _si(answers, "motor")
    resistance = (torque / (MOTOR_CONSTANT * size**2.5)) ** 2
    return {
        "stage.drive.resistance": _guess(_round(1e3 * resistance), 0.33, "mohm"),
        "stage.drive.no_load_current": _guess(_round(1.1 * size**2), 0.35, "A"),
        "stage.drive.current_limit": show_value(f"{_round(30 * size**2):g} A"),
    }


def _guess(value: float, share: float, unit: str) -> str:
    """Return an estimate as in a file, with a standard uncertainty of `share` of the value."""
    spread = float(f"{share * value:.1g}")
    return show_value(f"{value:g} {unit} ± {spread:g} {unit}".replace("e-0", "e-"))


def _without(text: str, line: str) -> str:
    return "".join(one for one in text.splitlines(keepends=True) if not one.startswith(line))


def _uncommented(text: str, head: str) -> str:
    """Return the text with a commented-out table made active."""
    before, mark, after = text.partition(f"# {head}")
    table, blank, rest = after.partition("\n\n")
    return f"{before}{mark}{table}".replace(f"{mark}{table}", f"{head}{table}".replace("\n# ", "\n")) + blank + rest
