"""`stager plan` and `stager worth`: settings, ladder, upper bound, limits and cautions, as screen and document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from stager.constraints import not_judged
from stager.model.launcher import Launcher
from stager.optimise.judge import REACHED
from stager.optimise.records import Interval, Missed, Plan, Relaxation, Rung, Settings, ShownSpeeds
from stager.physics.flight import outlet_speed
from stager.physics.mechanics import translation_energy
from stager.report import alternatives, check, drives, flight, limits
from stager.report import throw as throws
from stager.report.alternatives import VARIABLES
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.limits import LimitRow
from stager.report.numbers import MISSING, digits, percent, plural, sides, speed
from stager.report.terminal import Ranges
from stager.report.throw import StageRow, ladder_spin_notes, set_beside, spin_notes, spin_text

_COLUMNS = (
    Column("stages"),
    Column("exit", "m/s"),
    Column("95 % of builds", "m/s"),
    Column("gain", "%"),
    Column("chance it pays"),
    Column("length", "mm"),
    Column("mass", "g"),
    Column("cost"),
    Column("power", "W"),
    Column("note", words=True, wraps=True),
)


def ladder_rows(ladder: Sequence[Rung]) -> list[dict[str, Any]]:
    """Return the ladder as JSON has it."""
    return [
        {
            "stages": rung.stages,
            "exit_speed_m_s": _interval(rung.exit_speed),
            "gain_fraction": None if rung.gain is None else _interval(rung.gain),
            "probability_worthwhile": rung.probability_worthwhile,
            "length_m": float(rung.length),
            "mass_kg": rung.mass,
            "cost": rung.cost,
            "average_power_W": rung.average_power,
            "kept": rung.kept,
            "broken": list(rung.broken),
            "chosen": {VARIABLES[name]: list(values) for name, values in rung.design.items()},
        }
        for rung in ladder
    ]


def _interval(interval: Interval) -> dict[str, float | None]:
    return {"nominal": interval.nominal, "low": interval.low, "high": interval.high}


def ladder_table(ladder: Sequence[Mapping[str, Any]]) -> Table:
    """Return the table of a ladder, a row for each stage count, without empty columns; ladder: see `ladder_rows`."""
    shown = [rung for rung in ladder if rung["stages"]] or ladder
    return Table("Ladder", _COLUMNS, tuple(_ladder_row(rung) for rung in shown)).without_empty(MISSING)


def ladder_picture(ladder: Sequence[Mapping[str, Any]]) -> Ranges:
    """Return a text picture of exit speed by stage count, with interval and gain; ladder: see `ladder_rows`."""
    return Ranges(title="Exit speed in m/s by number of stages", rows=tuple(_ladder_range(rung) for rung in ladder))


def _ladder_range(rung: Mapping[str, Any]) -> tuple[str, float, float, float, str]:
    exit_speed = rung["exit_speed_m_s"]
    nominal = exit_speed["nominal"]
    low, high = (nominal if exit_speed[end] is None else exit_speed[end] for end in ("low", "high"))
    return str(rung["stages"]), low, nominal, high, "" if _gain(rung) == MISSING else f"{_gain(rung)} %"


def _ladder_row(rung: Mapping[str, Any]) -> tuple[str, ...]:
    exit_speed = rung["exit_speed_m_s"]
    low, high = exit_speed["low"], exit_speed["high"]
    return (
        str(rung["stages"]),
        speed(exit_speed["nominal"]),
        MISSING if low is None or high is None else f"{low:.2f} to {high:.2f}",
        _gain(rung),
        percent(rung["probability_worthwhile"], 0),
        f"{1000 * rung['length_m']:.0f}",
        digits(_times(1000, rung["mass_kg"]) or None),
        digits(rung["cost"] or None),
        digits(rung["average_power_W"]),
        _ladder_note(rung),
    )


def _ladder_note(rung: Mapping[str, Any]) -> str:
    """Return which limits the designs with a stage count break: all of them, where the row is of fewer stages."""
    if not rung["broken"]:
        return MISSING
    names = ", ".join(map(limits.title, rung["broken"]))
    return f"none within {names}" if rung["kept"] else f"breaks {names}"


def _gain(rung: Mapping[str, Any]) -> str:
    """Return the gain of exit speed over one stage less [%]; MISSING for the first stage."""
    gain = rung["gain_fraction"]
    if gain is None or rung["stages"] < 2:
        return MISSING
    share = gain["nominal"]
    return f"{100 * share:+.{0 if share >= 1 else 1}f}"


def _times(factor: float, value: float | None) -> float | None:
    return None if value is None else factor * value


def left_open(plan: Plan) -> list[str]:
    """Return a sentence on what a stopped search left undone."""
    if not plan.left_open:
        return []
    undone = "; ".join(plan.left_open)
    return [f"Stopped when the time was up. Not done: {undone}. Give more --seconds, or leave them out."]


UNMEASURED = "Guesses so far: measure first, as stager next says."
"""What to do first where the contact is a guess."""


def worth_answer(plan: Plan, source: Provenance, *, guessed: bool = False) -> Answer:
    """Return the screen and document of the ladder; it is a "no" where no design fits.

    guessed: see `Scenario.guessed`
    """
    content_rows = ladder_rows(plan.ladder)
    content = {
        "ladder": content_rows, "recommended_stages": plan.recommended_stages, "verdict": plan.verdict,
        "left_open": list(plan.left_open),
    }  # fmt: skip
    pictures = (ladder_picture(content_rows),) if len(content_rows) > 1 else ()
    notes = [*([UNMEASURED] if guessed else []), *left_open(plan), *ladder_spin_notes(plan)]
    so_far = "Best so far: " if plan.left_open else ""
    screen = Screen(f"{so_far}{plan.verdict}", (ladder_table(content_rows),), notes, pictures=pictures)
    return Answer(screen, document(content, source), yes=not plan.nothing_fits)


CAUTIONS = (
    "Eye protection, guard and backstop; never aim at people or animals.",
    "Brittle projectiles and wheels can burst; lithium cells need a fuse and care.",
    "Local rules and qualified people decide what is allowed; these numbers do not.",
)
MORE_CAUTIONS = (
    "Before you build: enclose wheels in a guard and stay out of their plane; charge lithium cells with a charger made"
    " for them, and watch them.",
)
"""Cautions that the short screen leaves out."""
ROUNDING_GAP = 2e-6
"""A plan may exceed the bound by this much, as the search and the bound round differently [-]."""
NO_GAP = 5e-5
"""Gap between bound and plan that counts as none [-]."""
WIDE_GAP = 0.1
"""Gap between bound and plan from which on the bound is said to tell little [-]."""
BOUND_STOP = 2e-3
"""The bound stops this close below a speed that is asked for, so a figure this close to it tells nothing [-]."""


def certificate_rows(plan: Plan) -> dict[str, Any]:
    """Return the upper bound as JSON has it; `bound_by_stages_m_s` begins with no stage."""
    known, fastest = plan.bound, plan.best if plan.fastest is None else plan.fastest
    return {
        "bound_m_s": None if known is None else known.speed,
        "gap_fraction": None if known is None or fastest is None else known.speed / fastest.exit_speed - 1,
        "certificate": None
        if known is None
        else {
            "bound_by_stages_m_s": list(known.speeds),
            "missing": known.missing or None,
            "evidence": known.evidence or None,
            "left_out": sorted(name.replace("_", " ") for name in known.left_out),
        },
    }


def bound_behind(launcher: Launcher, plan: Plan) -> float | None:
    """Return the upper bound behind the outlet [m/s]; None where none is known.

    Where there is no bound for some stage, `Bound.speed` is what limits on the throw allow: no bound, unless the plan
    reaches it.
    """
    known, fastest = plan.bound, plan.best if plan.fastest is None else plan.fastest
    if known is None:
        return None
    if known.missing and (fastest is None or known.speed > fastest.exit_speed * (1 + NO_GAP)):
        return None
    return float(outlet_speed(launcher, known.speed))


def possible_gain(launcher: Launcher, plan: Plan) -> float | None:
    """Return bound / speed of the fastest design − 1 [-], both behind the outlet; None where no bound is known."""
    top, fastest = bound_behind(launcher, plan), plan.best if plan.fastest is None else plan.fastest
    return None if top is None or fastest is None or not fastest.count else top / _leaves(launcher, fastest) - 1


def certificate_notes(launcher: Launcher, plan: Plan) -> list[str]:
    """Return sentences on the upper bound: how near the plan comes to it, what it leaves out.

    Speeds are those behind the outlet, as in the headline.
    """
    known, best = plan.bound, plan.best
    if known is None:
        return []
    asked = None if best is None else known.asked
    # The bound is on the fastest design.
    fastest = best if plan.fastest is None else plan.fastest
    top = bound_behind(launcher, plan)
    reached = None if fastest is None or asked is not None else _leaves(launcher, fastest) or None
    sentences = [] if top is None else [nearness(top, reached)]
    if plan.fastest is not None and plan.fastest is not plan.best:
        stages = plural(plan.fastest.count, "stage")
        sentences.insert(0, f"Fastest within the limits: {stages}, {speed(_leaves(launcher, plan.fastest))} m/s.")
    if best is not None and asked is not None:
        wanted, fewer = float(outlet_speed(launcher, asked)), plan.ladder[: best.count]
        if not reaches([float(outlet_speed(launcher, one.exit_speed.nominal)) for one in fewer if one.kept], wanted):
            bounds = [float(outlet_speed(launcher, each)) for each in known.speeds]
            sentences.append(fewest(bounds, wanted, best.count))
    if plan.catalogue is not None:
        sentences.append(alternatives.catalogue_proviso(plan.catalogue))
    if top is None:
        sentences.append(f"There is no upper bound for {known.missing} yet: another setting may be faster.")
    names = [name.replace("_", " ") for name in sorted(known.left_out & plan.binding)]
    if names and not known.missing:
        sentences.append(f"The bound leaves out {', '.join(names)}: the plan may be nearer to the best than that.")
    return [" ".join(sentence for sentence in sentences if sentence)]


def certificate_details(plan: Plan) -> list[str]:
    """Return a sentence on how far the bound is proven."""
    if plan.bound is None or not plan.bound.evidence:
        return []
    return [f"The bound was checked closely, not proven at every entry speed: it rests on {plan.bound.evidence}."]


def nearness(top: float, reached: float | None) -> str:
    """Return how near a plan that reaches `reached` [m/s] comes to the bound `top` [m/s]; None: the bound alone."""
    none_faster = f"No settings within the limits exceed {speed(top)} m/s"
    if reached is None:
        return f"{none_faster}."
    gap = top / reached - 1
    if gap < -ROUNDING_GAP:
        return f"This plan exceeds its upper bound of {speed(top)} m/s, so the bound is wrong. Please report it."
    if gap < NO_GAP:
        return f"{none_faster}; the fastest reaches that."
    if gap < WIDE_GAP:
        return f"{none_faster}, {percent(gap, 2)} more."
    return f"{none_faster}; the fastest reaches {percent(reached / top, 0)} of that, so the bound tells little."


def reaches(leaves: Sequence[float], asked: float) -> bool:
    """Whether one of several speeds reaches `asked` [m/s]."""
    return any(one >= asked * (1 - REACHED) for one in leaves)


def fewest(bounds: Sequence[float], asked: float, count: int) -> str:
    """Return whether fewer than `count` stages could reach `asked` [m/s]; bounds: by stage count, from 0 [m/s]."""
    if count == 0:
        return ""
    below = bounds[:count]
    if len(below) < count or max(below) >= asked:
        return "It is not proven that fewer stages would not do."
    fewer, most = plural(count - 1, "stage"), max(below)
    # The bound is only tightened until it is below `asked`.
    if most > asked * (1 - BOUND_STOP):
        return f"Fewer stages are not enough: {fewer} cannot reach {speed(asked)} m/s."
    return f"Fewer stages are not enough: {fewer} can reach at most {speed(most)} m/s."


def answer(launcher: Launcher, plan: Plan, source: Provenance, *, guessed: bool = False) -> Answer:
    """Return the screen and document of a plan; it is a "no" where no design fits.

    guessed: see `Scenario.guessed`
    """
    launcher = launcher if plan.best is None else plan.best.design.launcher
    content = summary(launcher, plan)
    nearest = content["nearest"] or {"stages": [], "limits": []}
    stages, rows = content["stages"] or nearest["stages"], content["limits"] or nearest["limits"]
    tables = [_relaxations(content["relaxations"])] if content["relaxations"] else []
    found = plan.best if plan.missed is None else plan.missed.nearest
    shown = None if found is None else found.shown
    if stages:
        tables.append(settings(stages, "Settings" if plan.best else "Nearest settings", shown))
    if limits.close(rows):
        tables.append(limits.abridged(rows, word))
    if content["catalogue"]:
        tables.append(alternatives.catalogue_table(content["catalogue"]))
    if content["ladder"]:
        tables.append(ladder_table(content["ladder"]))
    if content["robust"]:
        tables.append(alternatives.robust_table(content["robust"], content["stages"]))
    if content["trade"]:
        tables.append(alternatives.front_table(content["trade"]))
    hazards = [] if plan.best is None else flight.hazard_notes(launcher, plan.best.throw)
    overlaps = [] if plan.best is None else check.spacing_notes(launcher, plan.best.count)
    set_to = {} if plan.best is None else dict(enumerate(plan.best.wheel_speed.tolist()))
    unlimited = [] if plan.best is None else limits.reach_notes(launcher, plan.best.design.limit_values, set_to)
    notes = [
        *left_open(plan), *spin_notes(plan), *_notes(content), *unlimited, *certificate_notes(launcher, plan),
        *CAUTIONS,
    ]  # fmt: skip
    more_notes = [
        *certificate_details(plan), *throws.instruments(launcher, throws.speeds_of(stages), shown), *overlaps,
        *limits.unjudged_note(content["limits"]),
        *flight.notes(launcher, plan.flown), *hazards, *MORE_CAUTIONS,
    ]  # fmt: skip
    screen = Screen(
        _headline(launcher, plan), tables, notes, verdict=_verdict(plan, guessed),
        more_tables=flight.tables(plan.flown), more_notes=more_notes,
    )  # fmt: skip
    return Answer(screen, document(content, source), yes=not plan.nothing_fits)


def summary(launcher: Launcher, plan: Plan) -> dict[str, Any]:
    """Return a plan as JSON has it, without provenance."""
    best = plan.best
    return {
        "stages": [] if best is None else _stages(launcher, best),
        "stage_count": None if best is None else best.count,
        "exit_speed_m_s": None if best is None else best.exit_speed,
        "outlet_speed_m_s": None if best is None else _leaves(launcher, best),
        "exit_energy_J": None if best is None else _energy(launcher, best),
        "spin_rad_s": None if best is None else float(best.throw.spin),
        "length_m": None if best is None else float(best.length),
        "average_power_W": None if best is None else best.average_power,
        **certificate_rows(plan),
        "limits": [] if best is None else _limits(plan, best),
        "one_more_stage_fraction": plan.one_more_stage,
        "ladder": ladder_rows(plan.ladder),
        "recommended_stages": plan.recommended_stages,
        "verdict": plan.verdict,
        "left_open": list(plan.left_open),
        "catalogue": None
        if plan.catalogue is None
        else alternatives.catalogue_rows(plan.catalogue, None if best is None else best.exit_speed),
        "robust": alternatives.robust_rows(plan.robust),
        "spread_fraction": plan.spread,
        "spread_least_heat_fraction": plan.spread_before,
        "trade": alternatives.front_rows(plan.front),
        "settled": None if best is None else drives.settled(best.design),
        "feed": drives.feed(launcher, None if best is None else best.design.steady),
        "pusher": None
        if best is None or not best.count
        else drives.pushed(best.design.launcher, float(best.wheel_speed[0]), float(best.beside[0])),
        "safety": None if best is None else flight.hazard_rows(launcher, best.throw),
        **flight.summary(launcher, plan.flown),
        **_missed(launcher, plan),
    }


def _leaves(launcher: Launcher, best: Settings) -> float:
    """Return the speed behind the outlet [m/s]."""
    return float(outlet_speed(launcher, best.exit_speed))


def _energy(launcher: Launcher, best: Settings) -> float:
    """Return the translation energy behind the outlet [J]."""
    return float(translation_energy(_leaves(launcher, best), launcher.projectile))


def _missed(launcher: Launcher, plan: Plan) -> dict[str, Any]:
    """Return as JSON has it why no design fits, the nearest settings, and which looser limits would help."""
    missed, nearest = plan.missed, None if plan.missed is None else plan.missed.nearest
    return {
        "reason": None if missed is None else missed.reason,
        "proven": None if missed is None else missed.proven,
        "conflict": [] if missed is None else list(missed.conflict),
        "relaxations": [] if missed is None else [_relaxation(item) for item in missed.relaxations],
        "nearest": None
        if nearest is None
        else {
            "stage_count": nearest.count,
            "exit_speed_m_s": nearest.exit_speed,
            "stages": _stages(launcher, nearest),
            "limits": limits.rows(nearest.verdicts, not_judged(nearest.design)),
        },
    }


def _stages(launcher: Launcher, best: Settings) -> list[StageRow]:
    """Return the stages of a plan as JSON has them."""
    rows = throws.stages(launcher, best.throw)
    for k, (row, grip_limit) in enumerate(zip(rows, best.grip_limit, strict=True)):
        after, before = row["wheel_speed_after_m_s"], row["wheel_speed_m_s"]
        row["throttle"] = None if best.throttle is None else float(best.throttle[k])
        row["throttle_b"] = None if best.throttle_b is None else float(best.throttle_b[k])
        row["speed_loss_fraction"] = 1 - after / before if before else None
        row["grip_limit_m_s"] = float(grip_limit)
    return rows


def _limits(plan: Plan, best: Settings) -> list[LimitRow]:
    return [
        {**row, "binding": row["name"] in plan.binding, "price": plan.prices.get(row["name"])}
        for row in limits.rows(best.verdicts, not_judged(best.design))
    ]


def _relaxation(item: Relaxation) -> dict[str, Any]:
    return {
        "name": item.name,
        "unit": item.unit,
        "allowed": item.allowed,
        "needed": item.needed,
        "needed_together": item.together,
    }


def _headline(launcher: Launcher, plan: Plan) -> str:
    """Return the answer in a sentence, marked as "best so far" where the search was stopped."""
    sentence = _result(launcher, plan)
    return f"Best so far: {sentence}" if plan.left_open else sentence


def _verdict(plan: Plan, guessed: bool) -> str:
    """Return why so many stages, and what to do first where the contact is a guess."""
    if plan.best is None:
        return ""
    return f"{plan.verdict} {UNMEASURED}" if guessed and plan.best.count else plan.verdict


def _result(launcher: Launcher, plan: Plan) -> str:
    name, best = launcher.projectile.shape.name, plan.best
    if best is None:
        return _why_none(plan.missed)
    if plan.nothing_fits:
        return f"No stage fits: the {name} stays at the feed's {speed(best.exit_speed)} m/s.{_limited_by(plan.missed)}"
    if best.count == 0:
        return f"No stage is needed: the {name} leaves at the feed's {speed(best.exit_speed)} m/s."
    energy = digits(_energy(launcher, best))
    turning = f" and {spin_text(best.spin)} of spin" if best.spin else ""
    fewer = "" if plan.recommended_stages == best.count else f" Worth building: {plan.recommended_stages}."
    leaves = f"leaves at {speed(_leaves(launcher, best))} m/s with {energy} J{turning}"
    outlet = " and the outlet" if _leaves(launcher, best) != best.exit_speed else ""
    return f"{plural(best.count, 'stage')}{outlet}: the {name} {leaves}.{fewer}"


def _why_none(missed: Missed | None) -> str:
    if missed is None:
        return "No design fits."
    return f"{missed.reason}{_limited_by(missed)}" if missed.nearest else missed.reason


def _limited_by(missed: Missed | None) -> str:
    """Return an addition on the limits in conflict with the goal."""
    words = "" if missed is None else ", ".join(limits.title(name) for name in missed.conflict)
    return f" Limited by: {words}." if words else ""


def word(row: LimitRow) -> str:
    """Return the verdict on a row of a plan's limits in a word: "binds" where it is active, else `limits.word`."""
    return "binds" if row.get("binding") else limits.word(row)


def _notes(content: Mapping[str, Any]) -> list[str]:
    length = [f"{1000 * content['length_m']:.0f} mm along the barrel."] if content["length_m"] else []
    gain = content["one_more_stage_fraction"]
    one_more = [f"One more stage than is allowed would add {100 * gain:.1f} %."] if gain else []
    first = " ".join([*length, *one_more, *drives.settled_note(content["settled"])])
    return [
        *([first] if first else []),
        *drives.feed_notes(content["feed"]),
        *drives.pusher_notes(content["pusher"]),
        *(alternatives.catalogue_notes(content["catalogue"]) if content["catalogue"] else []),
        *alternatives.robust_notes(content),
        *limits.missing_keys(content["limits"]),
    ]


_SETTINGS = (
    Column("stage"),
    Column("wheel", "m/s"),
    Column("wheel", "rpm"),
    Column("throttle", "%"),
    Column("entry", "m/s"),
    Column("exit", "m/s"),
    Column("grip", words=True),
    Column("grip limit", "m/s"),
    Column("heat", "J"),
    Column("slows", "%"),
)


def settings(stages: Sequence[StageRow], title: str = "Settings", shown: ShownSpeeds | None = None) -> Table:
    """Return the table of settings, a row for each stage; shown: its wheel speeds, None: rounded to the nearest."""
    rows = tuple(_setting(k, stage, shown) for k, stage in enumerate(stages))
    return Table(title, _SETTINGS, rows).without_empty(MISSING)


def _setting(k: int, stage: StageRow, shown: ShownSpeeds | None) -> tuple[str, ...]:
    side_a, side_b, rpm = stage["wheel_speed_m_s"], set_beside(stage), stage["rpm"]
    alike = side_b is None
    speeds = (side_a, side_a if side_b is None else side_b)
    turns = tuple(rpm * speed / side_a for speed in speeds) if side_a else (rpm, rpm)
    if shown is not None:
        speeds, turns = tuple(shown.wheel_speed[:, k]), tuple(shown.rpm[:, k])
    return (
        str(k + 1),
        sides(speeds[0], None if alike else speeds[1]),
        f"{turns[0]:.0f}" if alike else f"{turns[0]:.0f}:{turns[1]:.0f}",
        _hundred(stage["throttle"]),
        # Left out where two wheel speeds take the room on the screen.
        speed(stage["entry_speed_m_s"]) if alike else MISSING,
        speed(stage["exit_speed_m_s"]),
        stage["grip"],
        speed(stage["grip_limit_m_s"]),
        digits(stage["slip_heat_J"]),
        _hundred(stage["speed_loss_fraction"]) if alike else MISSING,
    )


def _hundred(share: float | None) -> str:
    return MISSING if share is None else f"{100 * share:.1f}"


def _relaxations(items: list[dict[str, Any]]) -> Table:
    columns = (
        Column("limit", words=True),
        Column("allowed"),
        Column("would do", "alone"),
        Column("would do", "together"),
        Column("unit", words=True),
    )
    rows = tuple(
        (
            limits.title(item["name"]),
            _needed(item["allowed"], item),
            _needed(item["needed"], item),
            _needed(item["needed_together"], item),
            limits.unit_of(item["name"], item["unit"]).name or MISSING,
        )
        for item in items
    )
    return Table("What would make it fit: one of these alone, or all together", columns, rows)


def _needed(value: float | None, item: Mapping[str, Any]) -> str:
    unit = limits.unit_of(item["name"], item["unit"])
    return "none" if value is None else f"{unit.shown(value):.6g}"
