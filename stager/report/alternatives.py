"""Choice of parts and design variables, Pareto front, robust settings: JSON, tables, sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stager.constraints.limit import JAMS
from stager.optimise.records import Catalogue, Front, Robust
from stager.report.answer import Column, Table
from stager.report.numbers import MISSING, digits, listing, sides, speed
from stager.report.throw import set_beside

_SAME_PARTS = (
    "The ladder uses these parts for every stage count. Fewer stages with parts chosen for them may do better, so a"
    " stage may add less than the ladder says."
)
VARIABLES = {"crush": "crush_m", "radius": "radius_m", "inertia": "inertia_kg_m2"}
"""JSON key of each design variable."""
_RANGES = {"crush": "crush_range_m", "radius": "radius_range_m", "inertia": "inertia_range_kg_m2"}
"""JSON key of the range of each design variable."""


def variable_rows(design: Mapping[str, Any]) -> dict[str, Any]:
    """Return design variables as JSON has them, None where not chosen."""
    return {key: design.get(name) for name, key in VARIABLES.items()}


def catalogue_rows(catalogue: Catalogue, exit_speed: float | None) -> dict[str, Any]:
    """Return the choice of parts as JSON has it; exit_speed: the plan's [m/s], None where nothing fits."""
    asked = {name: list(ends) for name, ends in catalogue.asked.items()}
    return {
        "chosen": [
            {
                "stage": k + 1, "wheel": wheel, "drive": drive or None,
                **variable_rows({name: values[k] for name, values in catalogue.design.items()}),
            }
            for k, (wheel, drive) in enumerate(catalogue.chosen)
        ],
        "one_for_all": catalogue.one_for_all,
        "mixed_gain_fraction": catalogue.mixed_gain,
        "crush_range_m": asked.get("crush"),
        "crush_searched_m": asked.get("crush"),
        "radius_range_m": asked.get("radius"),
        "inertia_range_kg_m2": asked.get("inertia"),
        "traded": [
            {
                **variable_rows({one.variable: one.value}), "exit_speed_m_s": one.exit_speed or None,
                "droop_fraction": None if one.broken else one.droop, "spin_up_s": one.spin_up,
                "length_m": one.length or None, "broken": list(one.broken),
            }
            for one in catalogue.traded
        ],
        "options": [
            {
                "wheel": option.wheel, "drive": option.drive or None, **variable_rows(option.design),
                "exit_speed_m_s": option.exit_speed, "at_most": option.at_most, "stage_count": option.stages,
                "loses_fraction": _loss(option.exit_speed, exit_speed), "not_judged": list(option.not_judged),
            }
            for option in catalogue.options
        ],
        "not_judged": list(catalogue.not_judged),
    }  # fmt: skip


def _loss(exit_speed: float | None, best: float | None) -> float | None:
    return None if exit_speed is None or not best else 1 - exit_speed / best


def catalogue_notes(content: Mapping[str, Any]) -> list[str]:
    """Return sentences on the chosen parts, and on the effect of other wheels."""
    return [catalogue_headline(content), *unknown_notes(content), *trade_notes(content)]


def catalogue_headline(content: Mapping[str, Any]) -> str:
    """Return a sentence on the parts of each stage."""
    chosen, alone = content["chosen"], _variables_alone(content)
    head = "Catalogue" if not alone else "Crush" if _asked(content) == ["crush"] else "Chosen"
    if not chosen:
        return f"{head}: none {'in the range' if alone else 'of the parts'} makes a design that fits."
    if content["one_for_all"]:
        return f"{head}: {_words(content, chosen[0], alone)} in every stage."
    each = "; ".join(f"stage {part['stage']} {_words(content, part, alone)}" for part in chosen)
    gain = content["mixed_gain_fraction"]
    same = "one for all stages" if alone else "one kind"
    sentence = f"{head}: {each}{'' if gain is None else f', {100 * gain:.1f} % faster than the best of {same}'}."
    return f"{sentence} {_SAME_PARTS}"


def unknown_notes(content: Mapping[str, Any]) -> list[str]:
    """Return a sentence on the fastest parts with which more limits can be judged than with the chosen ones."""
    unknown = set(content["not_judged"])
    known = [one for one in content["options"] if one["exit_speed_m_s"] and set(one["not_judged"]) < unknown]
    if not known:
        return []
    best = max(known, key=lambda one: one["exit_speed_m_s"])
    judged = [name.replace("_", " ") for name in content["not_judged"] if name not in best["not_judged"]]
    parts = _words(content, best, _variables_alone(content))
    one = len(judged) == 1
    return [
        f"With the chosen parts {listing(judged)} {'is' if one else 'are'} not judged. With {parts} in every stage"
        f" {'it is' if one else 'they are'} judged, at {speed(best['exit_speed_m_s'])} m/s."
    ]


def catalogue_proviso(catalogue: Catalogue) -> str:
    """Return a sentence on the parts for which the upper bound holds."""
    parts = len({(option.wheel, option.drive) for option in catalogue.options}) > 1
    words = [name for name in VARIABLES if name in catalogue.asked]
    if not words:
        return "That is with the parts that were chosen."
    several = parts or len(words) > 1
    chosen = "parts" if parts else words.pop(0)
    for number, word in enumerate(words, 1):
        chosen += f"{' and the' if number == len(words) and parts else ' and' if number == len(words) else ','} {word}"
    return f"That is with the {chosen} that {'were' if several else 'was'} chosen."


def _variables_alone(content: Mapping[str, Any]) -> bool:
    """Whether only design variables could be chosen, with one wheel and one drive."""
    kinds = {(option["wheel"], option["drive"]) for option in content["options"]}
    return bool(_asked(content)) and len(kinds) == 1


def _asked(content: Mapping[str, Any]) -> list[str]:
    """Return the names of the design variables that could be chosen."""
    return [name for name, key in _RANGES.items() if content[key] is not None]


def _words(content: Mapping[str, Any], part: Mapping[str, Any], alone: bool) -> str:
    """Return the parts of a stage in words; alone: without wheel and drive."""
    asked = _asked(content)
    bare = alone and asked == ["crush"]
    words = [] if alone else [f"wheel {part['wheel']}"]
    words += [f"drive {part['drive']}"] if part["drive"] is not None and not alone else []
    words += [f"{'' if bare else f'{_CALLED[name]} '}{value_text(name, part[VARIABLES[name]])}" for name in asked]
    return ", ".join(words)


_CALLED = {"crush": "crush", "radius": "wheel radius", "inertia": "wheel inertia"}


def value_text(name: str, value: float) -> str:
    """Return the value of a design variable with its unit."""
    return f"{value:.3g} kg m²" if name == "inertia" else f"{_mm(value, 4 if name == 'radius' else 3)} mm"


def _mm(length: float, count: int = 3) -> str:
    return digits(1000 * length, count)


def trade_notes(content: Mapping[str, Any]) -> list[str]:
    """Return a sentence each on the effect of larger and smaller, and of heavier and lighter wheels."""
    sentences = []
    for name, more, less in (("radius", "larger", "smaller"), ("inertia", "heavier", "lighter")):
        key = VARIABLES[name]
        own, *others = [row for row in content["traded"] if row[key] is not None] or [None]
        nearest = (
            (more, min([row for row in others if row[key] > own[key]], key=lambda row: row[key], default=None)),
            (less, max([row for row in others if row[key] < own[key]], key=lambda row: row[key], default=None)),
        )
        words = [
            f"{word} wheels ({value_text(name, row[key])}) {_change(own, row)}"
            for word, row in nearest
            if row is not None
        ]
        if words:
            text = "; ".join(words)
            sentences.append(f"{text[0].upper()}{text[1:]}.")
    return sentences


def _change(own: Mapping[str, Any], other: Mapping[str, Any]) -> str:
    """Return the effect of another wheel in words."""
    if other["broken"] == [JAMS]:
        return "do not get the projectile through"
    if other["broken"]:
        return f"do not fit within {', '.join(name.replace('_', ' ') for name in other['broken'])}"
    gain = other["exit_speed_m_s"] / own["exit_speed_m_s"] - 1
    speeds = "as fast" if abs(gain) < 5e-4 else f"{100 * abs(gain):.1f} % {'faster' if gain > 0 else 'slower'}"
    effects = [f"throw {speeds}"]
    droops = [f"{100 * row['droop_fraction']:.1f}" for row in (other, own)]
    effects += [f"slow {droops[0]} % per throw (not {droops[1]})"] if droops[0] != droops[1] else []
    times = [digits(row["spin_up_s"], 2) for row in (other, own)]
    effects += [f"spin up in {times[0]} s (not {times[1]})"] if times[0] != times[1] else []
    longer = 1000 * (other["length_m"] - own["length_m"])
    if abs(longer) >= 0.5:
        effects.append(f"make it {abs(longer):.0f} mm {'longer' if longer > 0 else 'shorter'}")
    return ", ".join(effects)


def catalogue_table(content: Mapping[str, Any]) -> Table:
    """Return a table with a row for each choice of parts, the same in every stage."""
    columns = (
        Column("wheel", words=True),
        Column("drive", words=True),
        Column("crush", "mm"),
        Column("radius", "mm"),
        Column("inertia", "kg m²"),
        Column("exit", "m/s"),
        Column("stages"),
        Column("slower", "%"),
    )
    alone, options = _variables_alone(content), content["options"]
    if alone:
        options = sorted(options, key=lambda option: [option[key] or 0.0 for key in VARIABLES.values()])
    what = "Parts" if not alone else "Crush" if _asked(content) == ["crush"] else "Wheels"
    title = f"{what}, the same in every stage"
    return Table(title, columns, tuple(_catalogue_row(option, alone) for option in options)).without_empty(MISSING)


def _catalogue_row(option: Mapping[str, Any], alone: bool) -> tuple[str, ...]:
    exit_speed, loses, bound = option["exit_speed_m_s"], option["loses_fraction"], option["at_most"]
    stages = option["stage_count"]
    return (
        MISSING if alone else option["wheel"],
        MISSING if alone else option["drive"] or MISSING,
        *(
            MISSING if option[key] is None else f"{option[key]:.3g}" if name == "inertia" else _mm(option[key])
            for name, key in VARIABLES.items()
        ),
        "does not fit" if exit_speed is None else f"{'up to ' if bound else ''}{speed(exit_speed)}",
        MISSING if stages is None else str(stages),
        MISSING if loses is None else f"{'at least ' if bound else ''}{100 * loses:.1f}".replace("-0.0", "0.0"),
    )


def front_rows(front: Front | None) -> dict[str, Any] | None:
    """Return a Pareto front as JSON has it."""
    if front is None:
        return None
    points = [
        {"value": point.value, "exit_speed_m_s": point.exit_speed, "stages": point.stages} for point in front.points
    ]
    return {"against": front.against, "unit": front.unit, "points": points}


def front_table(front: dict[str, Any]) -> Table:
    """Return a table of the fastest plan for each value, and how much slower it is than the fastest of all."""
    fastest = max(point["exit_speed_m_s"] for point in front["points"])
    columns = (Column(front["against"], front["unit"]), Column("exit", "m/s"), Column("slower", "%"), Column("stages"))
    rows = tuple(
        (
            digits(point["value"]),
            speed(point["exit_speed_m_s"]),
            f"{100 * (1 - point['exit_speed_m_s'] / fastest):.1f}",
            str(point["stages"]),
        )
        for point in front["points"]
    )
    return Table(f"The fastest plan for a given {front['against']}", columns, rows)


def robust_rows(robust: Robust | None) -> dict[str, Any] | None:
    """Return robust settings as JSON has them."""
    if robust is None:
        return None
    return {
        "wheel_speed_m_s": [float(each) for each in robust.settings.wheel_speed],
        "wheel_speed_b_m_s": None
        if robust.settings.wheel_speed_b is None
        else [float(each) for each in robust.settings.wheel_speed_b],
        "exit_speed_m_s": robust.settings.exit_speed,
        "cost_fraction": robust.cost,
        "quantile": robust.quantile,
        "low_exit_speed_m_s": robust.low,
        "low_exit_speed_nominal_settings_m_s": robust.low_before,
        "kept_fraction": robust.kept,
        "kept_fraction_at_least": robust.kept_at_least,
        "kept_fraction_nominal_settings": robust.kept_before,
    }


def robust_table(robust: Mapping[str, Any], stages: Sequence[Mapping[str, Any]]) -> Table:
    """Return a table of the robust wheel speeds beside the plan's."""
    columns = (Column("stage"), Column("plan", "m/s"), Column("robust", "m/s"), Column("slower", "%"))
    speeds = robust["wheel_speed_m_s"]
    wheels = speeds, robust["wheel_speed_b_m_s"] or [None] * len(speeds)
    rows = tuple(
        (
            str(number),
            sides(stage["wheel_speed_m_s"], set_beside(stage)),
            sides(wheel, other),
            f"{100 * (1 - wheel / stage['wheel_speed_m_s']):.1f}",
        )
        for number, (stage, wheel, other) in enumerate(zip(stages, *wheels, strict=True), 1)
    )
    return Table("Robust settings", columns, rows)


def robust_notes(content: Mapping[str, Any]) -> list[str]:
    """Return sentences on what robust settings gain and cost, and on how much exit speed varies."""
    notes = []
    if (robust := content["robust"]) is not None:
        percent = 100 * (1 - robust["quantile"])
        notes.append(
            f"Robust settings: {percent:.0f} % of builds leave at {speed(robust['low_exit_speed_m_s'])} m/s or more "
            f"({speed(robust['low_exit_speed_nominal_settings_m_s'])} m/s with the plan's settings); limits on the "
            f"throw are kept by {100 * robust['kept_fraction']:.1f} % of them, by at least "
            f"{100 * robust['kept_fraction_at_least']:.1f} % with 95 % confidence "
            f"({100 * robust['kept_fraction_nominal_settings']:.1f} % with the plan's settings). "
            f"The nominal build gives up {100 * robust['cost_fraction']:.1f} % of its exit speed."
        )
    if (spread := content["spread_fraction"]) is not None:
        notes.append(
            f"Exit speed varies by {100 * spread:.2f} % (standard deviation over the uncertainties); with the fewest "
            f"stages and the least heat it would vary by {100 * content['spread_least_heat_fraction']:.2f} %."
        )
    return notes
