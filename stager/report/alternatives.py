"""What else could be chosen: parts of a catalogue, ranges of crush, points of a Pareto front, robust settings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import count, repeat
from typing import Any

from stager.optimise.records import Catalogue, Front, Robust
from stager.report.answer import Column, Table
from stager.report.numbers import MISSING, digits, sides, speed

_FEWER = "The ladder keeps these: fewer stages with their own may do better, so that a stage adds less than it says."


def catalogue_rows(catalogue: Catalogue, exit_speed: float | None) -> dict[str, Any]:
    """As the document has it; exit_speed: the plan's [m/s], None where nothing fits."""
    return {
        "chosen": [
            {"stage": number, "wheel": wheel, "drive": drive or None, "crush_m": crush}
            for number, (wheel, drive), crush in _stages(catalogue)
        ],
        "one_for_all": catalogue.one_for_all,
        "mixed_gain_fraction": catalogue.mixed_gain,
        "crush_range_m": catalogue.asked,
        "crush_searched_m": catalogue.searched,
        "options": [
            {
                "wheel": option.wheel,
                "drive": option.drive or None,
                "crush_m": option.crush,
                "exit_speed_m_s": option.exit_speed,
                "at_most": option.at_most,
                "stage_count": option.stages,
                "loses_fraction": _loss(option.exit_speed, exit_speed),
            }
            for option in catalogue.options
        ],
    }


def _stages(catalogue: Catalogue) -> Iterator[tuple[int, tuple[str, str], float | None]]:
    """Number, names and crush of each stage."""
    return zip(count(1), catalogue.chosen, catalogue.crushes or repeat(None))


def _loss(exit_speed: float | None, best: float | None) -> float | None:
    return None if exit_speed is None or not best else 1 - exit_speed / best


def catalogue_headline(content: Mapping[str, Any]) -> str:
    """What is in which stage, in a sentence; and where no crush was looked for."""
    chosen, alone = content["chosen"], _crush_alone(content)
    head = "Crush" if alone else "Catalogue"
    if not chosen:
        return f"{head}: none {'in the range' if alone else 'of the parts'} makes a design that fits."
    if content["one_for_all"]:
        said = f"{head}: {_words(chosen[0], alone)} in every stage."
    else:
        each = "; ".join(f"stage {part['stage']} {_words(part, alone)}" for part in chosen)
        gain = content["mixed_gain_fraction"]
        same = "one for all stages" if alone else "one kind"
        said = f"{head}: {each}{'' if gain is None else f', {100 * gain:.1f} % faster than the best of {same}'}."
    return " ".join([said, *([] if content["one_for_all"] else [_FEWER]), *_unsearched(content)])


def catalogue_proviso(catalogue: Catalogue) -> str:
    """What a bound on all wheel speeds holds for."""
    if not catalogue.asked:
        return "That is with the parts that were chosen."
    parts = len({(option.wheel, option.drive) for option in catalogue.options}) > 1
    return f"That is with the {'parts and the ' if parts else ''}crush that {'were' if parts else 'was'} chosen."


def _crush_alone(content: Mapping[str, Any]) -> bool:
    """Whether there was nothing else to choose."""
    kinds = {(option["wheel"], option["drive"]) for option in content["options"]}
    return content["crush_range_m"] is not None and len(kinds) == 1


def _unsearched(content: Mapping[str, Any]) -> list[str]:
    asked, searched = content["crush_range_m"], content["crush_searched_m"]
    if asked is None:
        return []
    if searched is None:
        return ["Between the crushes of the table none was looked for."]
    said = []
    if searched[0] > asked[0]:
        said.append(f"below {_mm(searched[0])} mm")
    if searched[1] < asked[1]:
        said.append(f"above {_mm(searched[1])} mm")
    why = "there stages do not pass the projectile on one by one"
    return [f"No crush {' or '.join(said)} was looked for: {why}."] if said else []


def _words(part: Mapping[str, Any], alone: bool) -> str:
    crush = [] if part["crush_m"] is None else [f"{'' if alone else 'crush '}{_mm(part['crush_m'])} mm"]
    drive = [] if part["drive"] is None else [f"drive {part['drive']}"]
    return ", ".join(crush if alone else [f"wheel {part['wheel']}", *drive, *crush])


def _mm(length: float) -> str:
    return digits(1000 * length)


def catalogue_table(content: Mapping[str, Any]) -> Table:
    """One row a choice that all stages might have."""
    columns = (
        Column("wheel", words=True),
        Column("drive", words=True),
        Column("crush", "mm"),
        Column("exit", "m/s"),
        Column("stages"),
        Column("slower", "%"),
    )
    alone, options = _crush_alone(content), content["options"]
    if alone:
        options = sorted(options, key=lambda option: option["crush_m"])
    title = f"{'Crush' if alone else 'Parts'}, the same in every stage"
    return Table(title, columns, tuple(_catalogue_row(option, alone) for option in options)).without_empty(MISSING)


def _catalogue_row(option: Mapping[str, Any], alone: bool) -> tuple[str, ...]:
    exit_speed, loses, bound = option["exit_speed_m_s"], option["loses_fraction"], option["at_most"]
    stages, crush = option["stage_count"], option["crush_m"]
    return (
        MISSING if alone else option["wheel"],
        MISSING if alone else option["drive"] or MISSING,
        MISSING if crush is None else _mm(crush),
        "does not fit" if exit_speed is None else f"{'up to ' if bound else ''}{speed(exit_speed)}",
        MISSING if stages is None else str(stages),
        MISSING if loses is None else f"{'at least ' if bound else ''}{100 * max(loses, 0.0):.1f}",
    )


def front_rows(front: Front | None) -> dict[str, Any] | None:
    """As the document has it."""
    if front is None:
        return None
    points = [
        {"value": point.value, "exit_speed_m_s": point.exit_speed, "stages": point.stages} for point in front.points
    ]
    return {"against": front.against, "unit": front.unit, "points": points}


def front_table(front: dict[str, Any]) -> Table:
    """The fastest for each value, and what it leaves of the fastest of all."""
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
    """As the document has it."""
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
    """Wheel speeds beside those of the plan."""
    columns = (Column("stage"), Column("plan", "m/s"), Column("robust", "m/s"), Column("slower", "%"))
    speeds = robust["wheel_speed_m_s"]
    wheels = speeds, robust["wheel_speed_b_m_s"] or [None] * len(speeds)
    rows = tuple(
        (
            str(number),
            sides(stage["wheel_speed_m_s"], stage["wheel_speed_b_m_s"]),
            sides(wheel, other),
            f"{100 * (1 - wheel / stage['wheel_speed_m_s']):.1f}",
        )
        for number, (stage, wheel, other) in enumerate(zip(stages, *wheels, strict=True), 1)
    )
    return Table("Robust settings", columns, rows)


def robust_notes(content: Mapping[str, Any]) -> list[str]:
    """What robust settings give and cost, and how steady the plan is."""
    out = []
    if (robust := content["robust"]) is not None:
        percent = 100 * (1 - robust["quantile"])
        out.append(
            f"Robust settings: {percent:.0f} % of builds leave at {speed(robust['low_exit_speed_m_s'])} m/s or more "
            f"({speed(robust['low_exit_speed_nominal_settings_m_s'])} m/s with the plan's settings); limits on the "
            f"throw are kept by {100 * robust['kept_fraction']:.1f} % of them, surely by "
            f"{100 * robust['kept_fraction_at_least']:.1f} % "
            f"({100 * robust['kept_fraction_nominal_settings']:.1f} % with the plan's). "
            f"The nominal build gives up {100 * robust['cost_fraction']:.1f} % of its exit speed."
        )
    if (spread := content["spread_fraction"]) is not None:
        out.append(
            f"Exit speed varies by {100 * spread:.2f} % (standard deviation over what is uncertain); with the fewest "
            f"stages and the least heat it would by {100 * content['spread_least_heat_fraction']:.2f} %."
        )
    return out
