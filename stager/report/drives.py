"""Spin-up, throwing at the feed's rate, winding temperatures, and `stager motor`: the motor that a rate takes."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import Any

import numpy as np

from stager.constraints import OperatingPoint
from stager.constraints.drives import Duty
from stager.constraints.limit import JAMS, NO_LOAD_CURRENT, NOT_SETTLED
from stager.model.arrays import rounded
from stager.model.launcher import Launcher
from stager.model.stage import ZERO_CELSIUS
from stager.optimise.sizing import Candidate, Discharge, Needed, Sizing
from stager.physics.barrel import BUSY, feed_rate
from stager.physics.flight import outlet_speed
from stager.physics.pusher import push
from stager.physics.rate import Settled
from stager.physics.transient import SpinUp
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.numbers import MISSING, about, digits, listing, percent, small_percent, speed

LONG = 120
"""Time from which a screen says minutes [s]."""
UNSETTLED = "does not settle: throws go on changing, and limits on them are not judged."
"""Said of throws at a rate that go on changing, behind who does not."""
NO_LOSS = 5e-5
"""Change of exit speed below which a screen says that there is no loss [-]."""


def summary(launcher: Launcher, found: Duty) -> dict[str, Any]:
    """Return spin-up, wheels and throws at the feed's rate as JSON has them."""
    motors = [launcher.stage(index).drive for index in sorted(set(found.train.stage))]
    return {
        "no_load_known": all(drive is not None and drive.no_load_known for drive in motors),
        "spin_up": _spin_up(found.together),
        "spin_up_in_turn": _spin_up(found.in_turn),
        "wheels": [_wheel(found, column) for column in range(found.train.size)],
        "at_rate": _at_rate(launcher, found),
        "highest_rate_1_s": found.highest_rate,
        "highest_rate_by": found.decides,
        "highest_rate_loss_fraction": found.loss,
        "missing": found.missing,
    }


def _spin_up(found: SpinUp) -> dict[str, Any]:
    return {"time_s": float(found.time), "current_A": float(found.current), "power_W": float(found.power)}


def _wheel(found: Duty, column: int) -> dict[str, Any]:
    steady, heat = found.steady, found.winding_duty
    row: dict[str, Any] = {
        "stage": found.train.stage[column] + 1,
        "side": "AB"[found.train.side[column]],
        "throttle": float(found.holding.throttle[column]),
        "holding_current_A": float(found.holding.current[column]),
        "droop_fraction": None if steady is None else float(steady.droop[column]),
        "missing_fraction": None if steady is None else float(steady.missing[column]),
        "throttle_warm": None,
        "winding_K": None,
        "winding_after_long_K": None,
        "winding_reaches_limit_s": None,
        "throwing_share": None,
        "winding_time_s": None,
    }
    if heat is None or column not in heat.windings.column:
        return row
    at = heat.windings.column.index(column)
    row["throttle_warm"] = float(heat.throttle[at])
    row["winding_K"], row["winding_after_long_K"] = float(heat.session[at]), float(heat.steady[at])
    network = heat.windings.network
    times = np.broadcast_to(network.winding_capacity * network.winding_to_case, heat.session.shape)
    row["winding_time_s"] = float(times[at])
    if heat.reaches is not None and heat.share is not None:
        row["winding_reaches_limit_s"], row["throwing_share"] = float(heat.reaches[at]), float(heat.share[at])
    return row


def _at_rate(launcher: Launcher, found: Duty) -> dict[str, Any] | None:
    settled, steady = found.settled, found.steady
    if settled is None:
        return None
    charge = None if steady is None else steady.throws_per_charge
    return {
        "rate_1_s": float(settled.rate),
        "jammed": bool(settled.throw.jammed),
        "first_exit_speed_m_s": float(settled.first.exit_speed),
        "settled_exit_speed_m_s": float(settled.throw.exit_speed),
        "first_outlet_speed_m_s": float(outlet_speed(launcher, settled.first.exit_speed)),
        "settled_outlet_speed_m_s": float(outlet_speed(launcher, settled.throw.exit_speed)),
        "loss_fraction": float(settled.loss),
        "recovery_time_s": found.recovery,
        "average_power_W": None if steady is None else float(steady.average_power),
        "energy_per_throw_J": None if steady is None else float(steady.energies.delivered),
        "throws_per_charge": None if charge is None else float(charge),
    }


def pushed(launcher: Launcher, speed: float, speed_b: float | None) -> dict[str, Any] | None:
    """Return what the pusher must do at set surface speeds of the first stage [m/s]; None: the feed has no pusher."""
    pusher = launcher.feed.pusher
    if pusher is None:
        return None
    found = push(launcher, speed, speed_b)
    force, travel = float(pusher.force), float(pusher.travel)
    return {
        "force_N": force, "force_needed_N": _known(found.fed), "force_needed_from_rest_N": _known(found.rest),
        "follow_force_N": _known(found.force), "follow_m": _known(found.follow),
        "enough": bool(force >= found.rest and not travel < found.follow),
    }  # fmt: skip


def _known(value: float) -> float | None:
    return value if isfinite(value) else None


def pusher_notes(content: dict[str, Any] | None) -> list[str]:
    """Return sentences on `pushed`."""
    if content is None:
        return []
    fed, rest, follow = (content[key] for key in ("force_needed_N", "force_needed_from_rest_N", "follow_m"))
    if rest is None:
        return ["Pusher: no force brings the projectile through the first stage."]
    if rest == 0.0:
        return ["Pusher: the wheels take the projectile by themselves, even from rest."]
    alone = "by themselves" if not fed else f"with {digits(fed)} N"
    least, reach = digits(rounded(rest, 3, upward=True)), content["follow_force_N"]
    said = f"Pusher: at the feed's speed the wheels take the projectile {alone}; from rest it takes {least} N"
    if follow is not None:
        far = digits(rounded(1000 * follow, 3, upward=True))
        said += f", and a pusher of {digits(reach)} N must follow {far} mm behind first touch"
    if content["enough"]:
        without = "; throws are computed without its push, and so jam" if fed else ""
        return [f"{said}. The pusher's {digits(content['force_N'])} N are enough{without}."]
    return [f"{said}. The pusher's {digits(content['force_N'])} N are not enough where it stops on the way."]


def feed(launcher: Launcher, steady: Settled | None = None) -> dict[str, Any]:
    """Return the feed's rate, its greatest possible rate and what its magazine holds, as JSON has them.

    steady : throwing at the rate; None where it is not known or jams.
    """
    greatest, rate, magazine = float(feed_rate(launcher)), launcher.feed.rate, launcher.feed.magazine
    charge = None if steady is None else steady.throws_per_charge
    return {
        "magazine": magazine,
        "empty_s": None if magazine is None or rate is None else magazine / float(rate),
        "magazines_per_charge": None if magazine is None or charge is None else float(charge) / magazine,
        "rate_1_s": None if rate is None else float(rate),
        "greatest_rate_1_s": greatest,
        "share": None if rate is None else float(rate) / greatest,
        "spin_rad_s": float(launcher.feed.spin),
    }


def feed_notes(content: dict[str, Any]) -> list[str]:
    """Return a warning where the feed works close to its greatest rate, and how long the magazine lasts."""
    share = content["share"]
    if share is None or share <= BUSY:
        return _magazine_notes(content)
    return [
        *_magazine_notes(content),
        f"The feed works at {percent(share, 0)} of its greatest rate, {digits(content['greatest_rate_1_s'])} throws a"
        " second, where one follows the other without a gap: any delay jams it.",
    ]


def lasts(seconds: float) -> str:
    """Return a time in seconds, from two minutes on in minutes."""
    return f"{digits(seconds)} s" if seconds < LONG else f"{digits(seconds / 60)} min"


def _magazine_notes(content: dict[str, Any]) -> list[str]:
    magazine, seconds, many = content["magazine"], content["empty_s"], content["magazines_per_charge"]
    if magazine is None:
        return []
    if seconds is None:
        return ["How long the magazine lasts: set feed.rate."]
    rate = digits(content["rate_1_s"])
    said = f"The magazine of {magazine} is empty after {lasts(seconds)} at {rate} throws a second"
    if many is None:
        return [f"{said}."]
    if many < 1:
        return [f"{said}, but a charge ends after about {about(many * magazine)} throws."]
    return [f"{said}; a charge throws it about {about(many)} time{'' if about(many) == '1' else 's'}."]


def settled(design: OperatingPoint) -> dict[str, Any] | None:
    """Return steady throwing at the feed's rate as JSON has it; None without rate, drives or supply."""
    found, rate = design.settled, design.launcher.feed.rate
    if design.unsettled and rate is not None:
        unknown = dict.fromkeys(("exit_speed_m_s", "outlet_speed_m_s", "loss_fraction"))
        return {"rate_1_s": float(rate), **unknown, "jammed": False}
    if found is None:
        return None
    return {
        "rate_1_s": float(found.rate),
        "exit_speed_m_s": float(found.throw.exit_speed),
        "outlet_speed_m_s": float(outlet_speed(design.launcher, found.throw.exit_speed)),
        "loss_fraction": float(found.loss),
        "jammed": bool(found.throw.jammed),
    }


def settled_note(content: dict[str, Any] | None) -> list[str]:
    """Return a sentence on steady throwing; content: what `settled` returned."""
    if content is None:
        return []
    rate = f"At {digits(content['rate_1_s'])} throws a second it"
    if content["jammed"]:
        return [f"{rate} jams once the wheels have settled: set limits.settled_loss, and a plan keeps clear of that."]
    if content["exit_speed_m_s"] is None:
        return [f"{rate} {UNSETTLED}"]
    against = against_first(content["loss_fraction"])
    return [f"{rate} settles at {speed(content['outlet_speed_m_s'])} m/s, {against}."]


def against_first(loss: float) -> str:
    """Return how a settled throw compares with the first one; loss: of exit speed [-], below 0 where it is faster."""
    if abs(loss) < NO_LOSS:
        return "no loss"
    return f"{small_percent(abs(loss))} {'slower' if loss > 0 else 'faster'}"


def leaves(launcher: Launcher, found: Settled) -> str:
    """Return the speed at which settled throws leave the launcher, "jams" where they do not."""
    return "jams" if found.throw.jammed else f"{speed(float(outlet_speed(launcher, found.throw.exit_speed)))} m/s"


def jams(content: dict[str, Any] | None) -> bool:
    """Whether steady throwing at the feed's rate jams; content: what `summary` returned."""
    return content is not None and content["at_rate"] is not None and bool(content["at_rate"]["jammed"])


_MOTORS = (
    Column("stage"),
    Column("side", words=True),
    Column("throttle", "%"),
    Column("warm", "%"),
    Column("holding", "A"),
    Column("slows", "%"),
    Column("not recovered", "%"),
    Column("winding", "°C"),
    Column("final", "°C"),
    Column("limit after", "min"),
)
_RATE = (
    Column("rate", "1/s"),
    Column("first", "m/s"),
    Column("settled", "m/s"),
    Column("lost"),
    Column("recovers in", "s"),
    Column("power", "W"),
    Column("a throw", "J"),
    Column("charge", "throws"),
)


def tables(content: dict[str, Any]) -> list[Table]:
    """Return tables of the motors and of throwing at the feed's rate; content: what `summary` returned."""
    found = [Table("Motors", _MOTORS, tuple(_motor(row) for row in content["wheels"])).without_empty(MISSING)]
    rate = content["at_rate"]
    if rate is not None:
        row = (
            digits(rate["rate_1_s"]), speed(rate["first_outlet_speed_m_s"]),
            "jam" if rate["jammed"] else speed(rate["settled_outlet_speed_m_s"]),
            MISSING if rate["jammed"] else small_percent(rate["loss_fraction"]), digits(rate["recovery_time_s"]),
            digits(rate["average_power_W"]), digits(rate["energy_per_throw_J"]),
            MISSING if rate["throws_per_charge"] is None else about(rate["throws_per_charge"]),
        )  # fmt: skip
        found.append(Table("Throw after throw", _RATE, (row,)).without_empty(MISSING))
    return found


def _motor(row: dict[str, Any]) -> tuple[str, ...]:
    reaches = row["winding_reaches_limit_s"]
    return (
        str(row["stage"]), row["side"] if row["side"] == "B" else MISSING, _hundred(row["throttle"]),
        _hundred(row["throttle_warm"]),
        digits(row["holding_current_A"]), _hundred(row["droop_fraction"]), _hundred(row["missing_fraction"]),
        _celsius(row["winding_K"]), _celsius(row["winding_after_long_K"]),
        MISSING if reaches is None else digits(reaches / 60),
    )  # fmt: skip


def notes(content: dict[str, Any]) -> list[str]:
    """Return sentences on spin-up, highest rate, jams, and the rests that keep windings cool enough."""
    together, turn = content["spin_up"], content["spin_up_in_turn"]
    found = [
        f"Spin-up: {digits(together['time_s'])} s together with up to {digits(together['current_A'])} A,"
        f" {digits(together['power_W'])} W; one after another {digits(turn['time_s'])} s,"
        f" {digits(turn['current_A'])} A."
    ]
    if content["missing"] == NOT_SETTLED:
        found.append(f"At the feed's rate it {UNSETTLED}")
    elif content["missing"] is not None:
        found.append(
            f"{_reckoned_without(content['missing'])}"
            " Recovery, highest rate and rests that depend on it are not judged."
        )
    elif not content["no_load_known"]:
        found.append(_reckoned_without(NO_LOAD_CURRENT))
    if content["highest_rate_by"] == "feed":
        found.append(f"The feed gives {digits(content['highest_rate_1_s'])} throws a second at most.")
    elif content["highest_rate_by"] == "heat" and content["highest_rate_1_s"]:
        found.append(f"Windings keep their limit up to {digits(content['highest_rate_1_s'])} throws a second.")
    elif content["highest_rate_1_s"]:
        lost = percent(content["highest_rate_loss_fraction"], 0)
        found.append(f"At {digits(content['highest_rate_1_s'])} throws a second the exit speed is {lost} lower.")
    found += [
        f"With warm windings wheel {row['stage']}{row['side'].strip('A')} cannot be held at its speed any more: that"
        f" would take {_hundred(row['throttle_warm'])} % throttle."
        for row in content["wheels"]
        if row["throttle_warm"] is not None and row["throttle"] <= 1.0 < row["throttle_warm"]
    ]
    if jams(content):
        rate = content["at_rate"]
        found.append(f"At {digits(rate['rate_1_s'])} throws a second it jams once the wheels have settled.")
    shares = [row["throwing_share"] for row in content["wheels"] if row["throwing_share"] is not None]
    if shares and min(shares) <= 0:
        found.append("Windings get hotter than their limit in the end even without throws, by what holding them takes.")
    elif shares and min(shares) < 1:
        # A share of the time leaves the mean at the limit: only bursts too short to warm the winding stay below it.
        quickest = min(row["winding_time_s"] for row in content["wheels"] if row["throwing_share"] is not None)
        found.append(
            f"Windings keep their limit if it throws for {int(100 * min(shares))} % of the time at most, in bursts much"
            f" shorter than {lasts(quickest)}; longer ones get hotter."
        )
    return found


def _reckoned_without(key: str) -> str:
    return f"Motors are reckoned without {key}, which is unknown: they take more, and get warmer."


def _celsius(kelvin: float | None) -> str:
    return MISSING if kelvin is None else digits(kelvin - ZERO_CELSIUS)


def _hundred(share: float | None) -> str:
    return MISSING if share is None else f"{100 * share:.1f}"


RPM = 60 / (2 * np.pi)
OHMS = ("mΩ", 1e-3), ("Ω", 1.0), ("kΩ", 1e3)
"""Units of resistance on the screen, and their size [ohm]; a column has the greatest one that its values reach."""
_CANDIDATES = (
    Column("drive", words=True), Column("mass", "g"), Column("throttle", "%"), Column("current", "A"),
    Column("slows", "%"), Column("lost"), Column("verdict", words=True),
)  # fmt: skip
_CHARGE = (
    Column("battery", words=True), Column("cells"), Column("throws"), Column("magazines"), Column("time", "min"),
    Column("first", "m/s"), Column("last", "m/s"), Column("at end", "V"), Column("ends by", words=True),
)  # fmt: skip
ENDS = {"voltage": "lowest cell voltage", "speed": "wheels not held", "charge": "charge"}


def motor_answer(launcher: Launcher, sizing: Sizing, discharges: Sequence[Discharge], source: Provenance) -> Answer:
    """Return screen and document; no motor of the list that is enough is a "no"."""
    smallest, magazine = sizing.smallest, launcher.feed.magazine
    content = {
        "rate_1_s": sizing.rate,
        "loss_fraction": sizing.loss,
        "smallest": None if smallest is None else smallest.number,
        "needed": [_needed_row(one) for one in sizing.needed],
        "motors": [_candidate_row(one) for one in sizing.candidates],
        "charge": [_charge_row(launcher, one, magazine) for one in discharges],
        "magazine": magazine,
        "empty_s": None if magazine is None else magazine / sizing.rate,
    }
    tables = []
    if sizing.needed:
        tables.append(_needed(sizing.needed))
    if sizing.candidates:
        rows = tuple(_candidate(one) for one in sizing.candidates)
        tables.append(Table("Drives that are offered, smallest first", _CANDIDATES, rows).without_empty(MISSING))
    if discharges:
        rows = tuple(_charge(launcher, one, magazine) for one in discharges)
        listed = launcher.supply is not None and bool(launcher.supply.batteries)
        title = "One charge of each battery" if listed else "One charge, by number of cells in series"
        drive = smallest or next((one for one in sizing.candidates if one.number == 0), None)
        title += "" if drive is None else f", with {_called(drive)}"
        tables.append(Table(title, _CHARGE, rows).without_empty(MISSING))
    screen = Screen(_sizing_headline(sizing), tables, _sizing_notes(launcher, sizing, discharges))
    return Answer(screen, document(content, source), yes=smallest is not None or not sizing.candidates)


def _sizing_headline(sizing: Sizing) -> str:
    asked = f"{digits(sizing.rate)} throws a second within {100 * sizing.loss:.3g} %"
    smallest = sizing.smallest
    if len(sizing.candidates) == 1 and (smallest is not None or sizing.perhaps is None):
        return f"{asked}: {_called(sizing.candidates[0])} is {'not ' if smallest is None else ''}enough."
    if smallest is not None:
        return f"{asked}: {_called(smallest)} is the smallest drive that is enough."
    if sizing.perhaps is not None:
        return f"{asked}: {_called(sizing.perhaps)} may be enough; {_unknown(sizing.perhaps)}."
    if sizing.candidates:
        return f"{asked}: no drive of the list is enough."
    return f"{asked}: the configuration has no drive to judge." if sizing.needed else f"{asked}: no motor is enough."


def _name(one: Candidate) -> str:
    return one.name if one.number == 0 or not one.name.startswith("option") else f"drive_options {one.number}"


def _called(one: Candidate) -> str:
    """Return the name of a drive within a sentence."""
    return "the drive as written" if _name(one) == "as written" else _name(one)


def _sizing_notes(launcher: Launcher, sizing: Sizing, discharges: Sequence[Discharge]) -> list[str]:
    notes = []
    if sizing.needed:
        notes.append(
            "These are for a motor without losses of its own that turns 25 % faster without load than asked: take one"
            " of less resistance or more torque. Current and torque are the greatest ones, power is the mean."
        )
    index = next((k for k, one in enumerate(sizing.candidates) if one.enough), 0)
    if index:
        smaller = sizing.candidates[index - 1]
        fails = "is not enough" if smaller.broken else "may not be enough"
        notes.append(f"The next smaller, {_called(smaller)}, {fails}: {_reasons(smaller)}.")
    own = [one for one in discharges if len(discharges) == 1 or one.throws]
    without = [_called(one) for one in sizing.candidates if not one.no_load_known]
    if without:
        fewer = ", with which a charge lasts for fewer throws than told" if own else ""
        notes.append(f"{_reckoned_without(NO_LOAD_CURRENT)} This is so for {listing(without)}{fewer}.")
    if launcher.feed.magazine is not None:
        notes.append(
            f"The magazine of {launcher.feed.magazine} is empty after {lasts(launcher.feed.magazine / sizing.rate)}."
        )
    if launcher.supply is not None and launcher.supply.capacity is None and not launcher.supply.batteries:
        notes.append("How long a charge lasts: set supply.capacity.")
    if own:
        notes.append(
            "One charge: lithium cells, each with supply.capacity and its share of supply.resistance, by typical"
            " voltages of rested cells; throws end before a loaded cell falls below 3.3 V."
        )
    return notes


def _reasons(one: Candidate) -> str:
    words = {"settled_loss": f"it loses {small_percent(one.loss)}", JAMS: "throws jam"}
    return listing([words.get(name, name.replace("_", " ")) for name in one.broken]) or _unknown(one)


def _unknown(one: Candidate) -> str:
    """Return which limits cannot be judged with a drive, and what is missing."""
    names = listing([name.replace("_", " ") for name in one.unknown])
    return f"{names} not judged without {listing(list(dict.fromkeys(one.unknown.values())))}"


def _needed_row(one: Needed) -> dict[str, Any]:
    return {
        "stage": one.stage + 1, "speed_constant_rad_s_V": one.speed_constant, "resistance_ohm": one.resistance,
        "current_A": one.current, "torque_N_m": one.torque, "power_W": one.power,
    }  # fmt: skip


def _needed(needed: Sequence[Needed]) -> Table:
    most = max(one.resistance for one in needed)
    unit, ohm = next((one for one in reversed(OHMS) if most >= one[1]), OHMS[0])
    columns = (
        Column("stage"), Column("speed constant", "rpm/V"), Column("resistance", unit), Column("current", "A"),
        Column("torque", "N mm"), Column("power", "W"),
    )  # fmt: skip
    rows = tuple(
        (
            str(one.stage + 1), digits(RPM * one.speed_constant), digits(one.resistance / ohm), digits(one.current),
            digits(1000 * one.torque), digits(one.power),
        )
        for one in needed
    )  # fmt: skip
    return Table("What each wheel needs of its motor", columns, rows)


def _candidate_row(one: Candidate) -> dict[str, Any]:
    return {
        "drive_option": one.number, "name": one.name or None, "mass_kg": one.mass,
        "greatest_power_W": one.greatest_power, "throttle": _finite(one.throttle), "loss_fraction": _finite(one.loss),
        "droop_fraction": _finite(one.droop), "current_A": _finite(one.current), "enough": one.enough,
        "broken": list(one.broken), "not_judged": list(one.unknown),
    }  # fmt: skip


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _candidate(one: Candidate) -> tuple[str, ...]:
    return (
        _name(one), digits(None if one.mass is None else 1000 * one.mass), digits(100 * one.throttle),
        digits(one.current), digits(100 * one.droop), small_percent(one.loss) if np.isfinite(one.loss) else MISSING,
        "enough" if one.enough else _reasons(one),
    )  # fmt: skip


def _charge_row(launcher: Launcher, one: Discharge, magazine: int | None) -> dict[str, Any]:
    return {
        "battery": one.battery or None, "cells": one.cells, "throws": one.throws, "time_s": one.seconds,
        "ends_by": one.ends_by,
        "magazines": None if magazine is None else one.throws / magazine,
        "left_fraction": one.left.tolist(), "voltage_V": one.voltage.tolist(),
        "exit_speed_m_s": one.exit_speed.tolist(),
        "outlet_speed_m_s": outlet_speed(launcher, one.exit_speed).tolist(),
        "throws_so_far": one.so_far.tolist(),
    }  # fmt: skip


def _charge(launcher: Launcher, one: Discharge, magazine: int | None) -> tuple[str, ...]:
    some, leaves = one.throws > 0, outlet_speed(launcher, one.exit_speed)
    return (
        one.battery or MISSING, str(one.cells), about(one.throws) if one.throws else "0",
        MISSING if magazine is None else digits(one.throws / magazine), digits(one.seconds / 60),
        speed(float(leaves[0])) if some else MISSING, speed(float(leaves[-1])) if some else MISSING,
        digits(float(one.voltage[-1])) if some else MISSING, ENDS[one.ends_by],
    )  # fmt: skip
