"""What was chosen from a catalogue, and what the others lose."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stager.report.digits import MISSING, speed
from stager.report.table import Column, Table
from stager.staging.records import Catalogue


def summary(catalogue: Catalogue, exit_speed: float | None) -> dict[str, Any]:
    """As the document has it; exit_speed: the plan's [m/s], None where nothing fits."""
    return {
        "chosen": [
            {"stage": number, "wheel": wheel, "drive": drive or None}
            for number, (wheel, drive) in enumerate(catalogue.chosen, 1)
        ],
        "one_for_all": catalogue.one_for_all,
        "mixed_gain_fraction": catalogue.mixed_gain,
        "options": [
            {
                "wheel": option.wheel,
                "drive": option.drive or None,
                "exit_speed_m_s": option.exit_speed,
                "at_most": option.at_most,
                "stage_count": option.stages,
                "loses_fraction": _loss(option.exit_speed, exit_speed),
            }
            for option in catalogue.options
        ],
    }


def _loss(exit_speed: float | None, best: float | None) -> float | None:
    return None if exit_speed is None or not best else 1 - exit_speed / best


def headline(content: Mapping[str, Any]) -> str:
    """What is in which stage, in a sentence."""
    chosen = content["chosen"]
    if not chosen:
        return "Catalogue: none of the parts makes a design that fits."
    if content["one_for_all"]:
        return f"Catalogue: {_words(chosen[0])} in every stage."
    each = "; ".join(f"stage {part['stage']} {_words(part)}" for part in chosen)
    gain = content["mixed_gain_fraction"]
    more = "" if gain is None else f", {100 * gain:.1f} % faster than the best of one kind"
    return f"Catalogue: {each}{more}."


def _words(part: Mapping[str, Any]) -> str:
    drive = "" if part["drive"] is None else f", drive {part['drive']}"
    return f"wheel {part['wheel']}{drive}"


def table(content: Mapping[str, Any]) -> Table:
    """One row a pair of parts that all stages might have."""
    columns = (
        Column("wheel", words=True),
        Column("drive", words=True),
        Column("exit", "m/s"),
        Column("stages"),
        Column("loses", "%"),
    )
    return Table("Parts, the same in every stage", columns, tuple(map(_row, content["options"]))).without_empty(MISSING)


def _row(option: Mapping[str, Any]) -> tuple[str, ...]:
    exit_speed, loses, bound = option["exit_speed_m_s"], option["loses_fraction"], option["at_most"]
    stages = option["stage_count"]
    return (
        option["wheel"],
        option["drive"] or MISSING,
        "does not fit" if exit_speed is None else f"{'up to ' if bound else ''}{speed(exit_speed)}",
        MISSING if stages is None else str(stages),
        MISSING if loses is None else f"{'at least ' if bound else ''}{100 * max(loses, 0.0):.1f}",
    )
