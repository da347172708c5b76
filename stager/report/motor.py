"""`stager motor`: the motor that a rate takes, the smallest of a list that is enough, and how long a charge lasts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from stager.model.launcher import Launcher
from stager.optimise.sizing import Candidate, Needed, Sizing
from stager.physics.charge import Discharge
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.drives import lasts
from stager.report.numbers import MISSING, about, digits, listing, small_percent, speed

RPM = 60 / (2 * np.pi)
_NEEDED = (
    Column("stage"), Column("speed constant", "rpm/V"), Column("resistance", "mΩ"), Column("current", "A"),
    Column("torque", "N mm"), Column("power", "W"),
)  # fmt: skip
_MOTORS = (
    Column("drive", words=True), Column("mass", "g"), Column("throttle", "%"), Column("current", "A"),
    Column("slows", "%"), Column("lost"), Column("verdict", words=True),
)  # fmt: skip
_CHARGE = (
    Column("battery", words=True), Column("cells"), Column("throws"), Column("magazines"), Column("time", "min"),
    Column("first", "m/s"), Column("last", "m/s"), Column("at end", "V"), Column("ends by", words=True),
)  # fmt: skip
ENDS = {"voltage": "lowest cell voltage", "speed": "wheels not held", "charge": "charge"}


def answer(launcher: Launcher, sizing: Sizing, discharges: Sequence[Discharge], source: Provenance) -> Answer:
    """Return screen and document; no motor of the list that is enough is a "no"."""
    smallest, magazine = sizing.smallest, launcher.feed.magazine
    content = {
        "rate_1_s": sizing.rate,
        "loss_fraction": sizing.loss,
        "smallest": None if smallest is None else smallest.number,
        "needed": [_needed_row(one) for one in sizing.needed],
        "motors": [_motor_row(one) for one in sizing.candidates],
        "charge": [_charge_row(one, magazine) for one in discharges],
        "magazine": magazine,
        "empty_s": None if magazine is None else magazine / sizing.rate,
    }
    tables = []
    if sizing.needed:
        rows = tuple(_needed(one) for one in sizing.needed)
        tables.append(Table("What each wheel needs of its motor", _NEEDED, rows))
    if sizing.candidates:
        rows = tuple(_motor(one) for one in sizing.candidates)
        tables.append(Table("Drives that are offered, smallest first", _MOTORS, rows).without_empty(MISSING))
    if discharges:
        rows = tuple(_charge(one, magazine) for one in discharges)
        listed = launcher.supply is not None and bool(launcher.supply.batteries)
        title = "One charge of each battery" if listed else "One charge, by number of cells in series"
        tables.append(Table(title, _CHARGE, rows).without_empty(MISSING))
    screen = Screen(_headline(sizing), tables, _notes(launcher, sizing, discharges))
    return Answer(screen, document(content, source), yes=smallest is not None or not sizing.candidates)


def _headline(sizing: Sizing) -> str:
    asked = f"{digits(sizing.rate)} throws a second within {100 * sizing.loss:.3g} %"
    smallest = sizing.smallest
    if len(sizing.candidates) == 1:
        return f"{asked}: {_called(sizing.candidates[0])} is {'not ' if smallest is None else ''}enough."
    if smallest is not None:
        return f"{asked}: {_called(smallest)} is the smallest drive that is enough."
    if sizing.candidates:
        return f"{asked}: no drive of the list is enough."
    return f"{asked}: the configuration has no drive to judge." if sizing.needed else f"{asked}: no motor is enough."


def _name(one: Candidate) -> str:
    return one.name if one.number == 0 or not one.name.startswith("option") else f"drive_options {one.number}"


def _called(one: Candidate) -> str:
    """Return the name of a drive within a sentence."""
    return "the drive as written" if _name(one) == "as written" else _name(one)


def _notes(launcher: Launcher, sizing: Sizing, discharges: Sequence[Discharge]) -> list[str]:
    notes = []
    if sizing.needed:
        notes.append(
            "These are for a motor without losses of its own that turns 25 % faster without load than asked: take one"
            " of less resistance or more torque. Current and torque are the greatest ones, power is the mean."
        )
    index = next((k for k, one in enumerate(sizing.candidates) if one.enough), 0)
    if index:
        smaller = sizing.candidates[index - 1]
        notes.append(f"The next smaller, {_called(smaller)}, is not enough: {_reasons(smaller)}.")
    if launcher.feed.magazine is not None:
        notes.append(
            f"The magazine of {launcher.feed.magazine} is empty after {lasts(launcher.feed.magazine / sizing.rate)}."
        )
    if launcher.supply is not None and launcher.supply.capacity is None and not launcher.supply.batteries:
        notes.append("How long a charge lasts: set supply.capacity.")
    own = [one for one in discharges if len(discharges) == 1 or one.throws]
    if own:
        notes.append(
            "One charge: lithium cells, each with supply.capacity and its share of supply.resistance, by typical"
            " voltages of rested cells; throws end before a loaded cell falls below 3.3 V."
        )
    return notes


def _reasons(one: Candidate) -> str:
    words = {"settled_loss": f"it loses {100 * one.loss:.1f} %", "jam": "throws jam"}
    return listing([words.get(name, name.replace("_", " ")) for name in one.broken])


def _needed_row(one: Needed) -> dict[str, Any]:
    return {
        "stage": one.stage + 1, "speed_constant_rad_s_V": one.speed_constant, "resistance_ohm": one.resistance,
        "current_A": one.current, "torque_N_m": one.torque, "power_W": one.power,
    }  # fmt: skip


def _needed(one: Needed) -> tuple[str, ...]:
    return (
        str(one.stage + 1), digits(RPM * one.speed_constant), digits(1000 * one.resistance), digits(one.current),
        digits(1000 * one.torque), digits(one.power),
    )  # fmt: skip


def _motor_row(one: Candidate) -> dict[str, Any]:
    return {
        "drive_option": one.number, "name": one.name or None, "mass_kg": one.mass,
        "greatest_power_W": one.greatest_power, "throttle": _finite(one.throttle), "loss_fraction": _finite(one.loss),
        "droop_fraction": _finite(one.droop), "current_A": _finite(one.current), "enough": one.enough,
        "broken": list(one.broken),
    }  # fmt: skip


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _motor(one: Candidate) -> tuple[str, ...]:
    return (
        _name(one), digits(None if one.mass is None else 1000 * one.mass), digits(100 * one.throttle),
        digits(one.current), digits(100 * one.droop), small_percent(one.loss) if np.isfinite(one.loss) else MISSING,
        "enough" if one.enough else _reasons(one),
    )  # fmt: skip


def _charge_row(one: Discharge, magazine: int | None) -> dict[str, Any]:
    return {
        "battery": one.battery or None, "cells": one.cells, "throws": one.throws, "time_s": one.seconds,
        "ends_by": one.ends_by,
        "magazines": None if magazine is None else one.throws / magazine,
        "left_fraction": one.left.tolist(), "voltage_V": one.voltage.tolist(),
        "exit_speed_m_s": one.exit_speed.tolist(), "throws_so_far": one.so_far.tolist(),
    }  # fmt: skip


def _charge(one: Discharge, magazine: int | None) -> tuple[str, ...]:
    some = one.left.size > 0
    return (
        one.battery or MISSING, str(one.cells), about(one.throws) if one.throws else "0",
        MISSING if magazine is None else digits(one.throws / magazine), digits(one.seconds / 60),
        speed(float(one.exit_speed[0])) if some else MISSING, speed(float(one.exit_speed[-1])) if some else MISSING,
        digits(float(one.voltage[-1])) if some else MISSING, ENDS[one.ends_by],
    )  # fmt: skip
