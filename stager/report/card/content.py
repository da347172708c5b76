"""`stager card`: settings wheel by wheel, first throws, limits and cautions, as text and tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from stager.constraints import not_judged
from stager.model.launcher import Launcher
from stager.model.scenario import Scenario
from stager.optimise.first_throws import MANY_JAMS, FirstThrow
from stager.optimise.records import Margin, Settings
from stager.physics.mechanics import translation_energy, turns_per_minute
from stager.physics.muzzle import outlet_speed
from stager.report import limits
from stager.report import throw as throws
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document
from stager.report.limits import LimitRow
from stager.report.numbers import MISSING, digits, listing, plural, speed
from stager.report.plan import CAUTIONS
from stager.units import format_quantity
from stager.version import __version__

HASH_DIGITS = 12
"""Digits of the configuration's hash on card and page."""
COLUMNS = (
    Column("stage"), Column("wheel", words=True), Column("surface speed", "m/s"), Column("wheel", "rpm"),
    Column("throttle", "%"), Column("below grip limit", "%"), Column("exit speed", "m/s"),
)  # fmt: skip
SAFETY = "Eye protection on, guard closed, backstop in place, nobody ahead."


def settings_rows(launcher: Launcher, best: Settings, recommended: int) -> list[tuple[Sequence[str], bool]]:
    """Return a row for each wheel: its cells, see `COLUMNS`, and whether its stage is worth building."""
    throttles = _throttles(best)
    return [row for k in range(best.count) for row in _rows(launcher, best, k, throttles, worth=k < recommended)]


def _throttles(best: Settings) -> Mapping[tuple[int, int], float]:
    """Return the throttle [-] that holds each wheel's speed, by (stage index, side)."""
    train, holding = best.design.train, best.design.holding
    if train is None or holding is None:
        return {}
    places = zip(train.stage, train.side, strict=True)
    return {place: float(value) for place, value in zip(places, np.asarray(holding.throttle), strict=True)}


def _rows(
    launcher: Launcher, best: Settings, k: int, throttles: Mapping[tuple[int, int], float], *, worth: bool
) -> list[tuple[Sequence[str], bool]]:
    stage, part = launcher.stage(k), best.throw.stages
    a, b = float(part.wheel_speed_a[k]), float(part.wheel_speed_b[k])
    grip, exit_speed = float(best.grip_limit[k]), float(part.exit_speed[k])
    split = stage.layout.side_b_driven and a != b
    names = ["A", "B"] if split else ["A + B" if stage.layout.side_b_driven else "A"]
    leads = "B" if split and best.spin < 0 else names[0]
    found: list[tuple[Sequence[str], bool]] = []
    for side, name in enumerate(names):
        u = (a, b)[side]
        throttle = throttles.get((k, side))
        cells = (
            str(k + 1), name, speed(u), f"{float(turns_per_minute(u, stage.wheel)):.0f}",
            MISSING if throttle is None else f"{100 * throttle:.1f}",
            MISSING if names[side] != leads or np.isnan(grip) else _below(1 - u / grip), speed(exit_speed),
        )  # fmt: skip
        found.append((cells, worth))
    return found


def _below(share: float) -> str:
    return f"{max(100 * share, 0.0):.1f}" if share > -5e-4 else f"{-100 * share:.1f} past"


def facts(launcher: Launcher, best: Settings) -> str:
    """Return a sentence on feed, supply and exit speed."""
    parts = [f"Feed at {digits(float(launcher.feed.speed))} m/s"]
    if launcher.feed.rate is not None:
        parts.append(f"{float(launcher.feed.rate):g} a second")
    if launcher.feed.magazine is not None:
        parts.append(f"magazine of {launcher.feed.magazine}")
    if launcher.supply is not None:
        parts.append(f"supply {format_quantity(float(launcher.supply.voltage), 0.0, 'V')}")
    parts.append(f"exit speed {speed(float(outlet_speed(launcher, best.exit_speed)))} m/s")
    missing = " Stages without a figure below grip limit have no grip limit in their range."
    return f"{', '.join(parts)}.{missing if np.isnan(best.grip_limit).any() else ''}"


MOST_RPM = 6
"""Greatest number of stages whose rpm stand beside each first throw, as a sheet has no room for more."""
REPEATS = 3
"""First throws at each setting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A card as finished text.

    headline: the answer in a sentence; alarm: what is not as it should be, or ""; settings, first, limits: tables
    (first: None where there is nothing to propose); under each: facts, first_note, limit_notes; stamp: date, version,
    file and hash.
    """

    title: str
    headline: str
    alarm: str
    settings: Table
    facts: str
    first: Table | None
    first_note: str
    limits: Table
    limit_notes: tuple[str, ...]
    cautions: tuple[str, ...]
    stamp: str


def build_card(
    scenario: Scenario, best: Settings, throws: Sequence[FirstThrow], source: Provenance, *, origin: str, file: str,
    day: str, margin: Margin | None = None,
) -> Card:  # fmt: skip
    """Return the card of settings.

    Parameters
    ----------
    scenario : Scenario
        What was asked for.
    best : Settings
        Speeds to set, judged by every limit.
    throws : sequence of FirstThrow
        Settings to begin with, slowest first.
    source : Provenance
        Hash and seed.
    origin : str
        Where the speeds come from, as "planned".
    file : str
        Name of the configuration.
    day : str
        Date as it is printed.
    margin : Margin, optional
        How surely the hard limits are kept.
    """
    launcher = best.design.launcher
    rows = limits.rows(best.verdicts, not_judged(best.design))
    leaves = float(outlet_speed(launcher, best.exit_speed))
    energy = digits(float(translation_energy(leaves, launcher.projectile)))
    headline = (
        f"{plural(best.count, 'stage')}, speeds {origin}: the {launcher.projectile.shape.name} leaves at"
        f" {speed(leaves)} m/s with {energy} J."
    )
    return Card(
        title=scenario.title or file, headline=headline, alarm=_alarm(scenario, rows, margin),
        settings=_settings(best), facts=facts(launcher, best), first=_first_wide(best, throws) if throws else None,
        first_note=_first_note(scenario, throws), limits=_limits(rows, margin),
        limit_notes=tuple(_limit_notes(scenario, rows, margin)), cautions=(SAFETY, *CAUTIONS[1:]),
        stamp=" · ".join((
            day, f"stager {__version__}", file, f"configuration {source.config_sha256[:HASH_DIGITS]}",
            f"seed {source.seed}",
        )),
    )  # fmt: skip


def refusal(best: Settings) -> str:
    """Return why settings must not be pinned up: they jam or break a limit that protects people; "" where they may."""
    if bool(best.throw.jammed):
        return "No card: at these speeds the projectile jams."
    broken = [limits.title(one.name) for one in best.verdicts if one.hard and not one.satisfied]
    return f"No card: these speeds break {listing(broken)}." if broken else ""


def _alarm(scenario: Scenario, rows: Sequence[LimitRow], margin: Margin | None) -> str:
    """Return a warning where limits are broken, or kept in too few builds; "" where all is well."""
    broken = [limits.title(row["name"]) for row in rows if row["kept"] is False]
    sentences = [f"These speeds break {listing(broken)}."] if broken else []
    wanted = scenario.limit_values.confidence
    if margin is not None and margin.kept < wanted:
        kept = f"{100 * margin.kept:.0f} of 100 builds"
        sentences.append(f"Only {kept} keep the limits below, {100 * wanted:.3g} should.")
    return " ".join(sentences)


def _settings(best: Settings) -> Table:
    rows = tuple(tuple(cells) for cells, _ in settings_rows(best.design.launcher, best, best.count))
    return Table("Set the wheels to", COLUMNS, rows).without_empty(MISSING)


def first_table(best: Settings, throws: Sequence[FirstThrow]) -> Table:
    """Return the table of first throws for a screen, with the rpm of all stages in one column."""
    launcher = best.design.launcher
    columns = (
        Column("wheel speed", "%"), Column("stage by stage", "rpm", words=True), Column("expect", "m/s"),
        Column("95 % of builds", "m/s"),
    )  # fmt: skip
    shown = range(best.count) if best.count <= MOST_RPM else range(0)
    rows = tuple(
        (f"{100 * one.share:.0f}", " / ".join(_turns(launcher, one, k) for k in shown) or MISSING,
         speed(one.exit_speed), _between(one)) for one in throws
    )  # fmt: skip
    return Table("First throws, slowest first", columns, rows).without_empty(MISSING)


def _turns(launcher: Launcher, one: FirstThrow, k: int) -> str:
    """Return the rpm of the wheels of a stage, A:B where they differ."""
    wheel = launcher.stage(k).wheel
    a, b = (f"{float(turns_per_minute(u[k], wheel)):.0f}" for u in (one.wheel_speed, one.wheel_speed_b))
    return a if a == b or not launcher.stage(k).layout.side_b_driven else f"{a}:{b}"


def _between(one: FirstThrow) -> str:
    return MISSING if one.low is None else f"{speed(one.low)} to {speed(one.high)}"


def _first_wide(best: Settings, throws: Sequence[FirstThrow]) -> Table:
    """Return the table of first throws for the sheet, with a column for each stage."""
    launcher, count = best.design.launcher, best.count
    shown = range(count) if count <= MOST_RPM else range(0)
    columns = (
        Column("wheel speed", "%"), *(Column(f"stage {k + 1}", "rpm") for k in shown), Column("expect", "m/s"),
        Column("95 % of builds", "m/s"), Column("measured", "m/s", words=True),
    )  # fmt: skip
    rows = (
        (f"{100 * one.share:.0f}", *(_turns(launcher, one, k) for k in shown), speed(one.exit_speed), _between(one),
         "." * 16) for one in throws
    )  # fmt: skip
    return Table("First throws, slowest first", columns, tuple(rows)).without_empty(MISSING)


def _first_note(scenario: Scenario, throws: Sequence[FirstThrow]) -> str:
    share = f"{100 * scenario.limit_values.confidence:.3g} of 100 builds"
    if not throws:
        return (
            "No first throws: at every speed tried the projectile may jam, or a limit that protects people or parts"
            f" may be broken in more builds than allowed ({share} shall keep them)."
        )
    reached = "" if throws[-1].share == 1.0 else (
        f" Stop at {100 * throws[-1].share:.0f} %: faster ones are not known to keep the limits in {share}."
    )  # fmt: skip
    return (
        f"{REPEATS} throws at each, all wheels at this share of their speeds. Write down what you measure. Stop if it"
        " jams, or if the mean of the three lies outside the range by more than your chronograph's error: fit what was"
        f" measured before you go on.{reached}"
    )


_LIMITS = (
    Column("limit", words=True), Column("used"), Column("allowed"), Column("unit", words=True),
    Column("verdict", words=True),
)  # fmt: skip


def _limits(rows: Sequence[LimitRow], margin: Margin | None) -> Table:
    """Return the table of limits, with a column for the value that nearly all builds stay within."""
    plain = limits.table(rows, [limits.word(row) for row in rows])
    place = {column.head: i for i, column in enumerate(plain.columns)}
    unit = place.get("unit")
    share = f"{100 * margin.confidence:.3g} % of builds" if margin is not None else ""
    columns = tuple(one for one in _LIMITS if one.head in place)
    found = []
    for row, cells in zip(rows, plain.rows, strict=True):
        cells = tuple("" if i == unit and cell == MISSING else cell for i, cell in enumerate(cells))
        shown = [cells[place[one.head]] for one in columns]
        if margin is not None:
            shown.insert(2, _at_confidence(row, margin))
        found.append(tuple(shown))
    if margin is not None:
        columns = (*columns[:2], Column(share), *columns[2:])
    return Table("Limits", columns, tuple(found)).without_empty(MISSING)


def _at_confidence(row: LimitRow, margin: Margin) -> str:
    value = margin.at_confidence.get(row["name"])
    if value is None or row["kept"] is None or not np.isfinite(value) or abs(value) > 1e100:
        return MISSING
    return limits.used_text(value, row)


def _limit_notes(scenario: Scenario, rows: Sequence[LimitRow], margin: Margin | None) -> list[str]:
    when = "given the measured throws" if scenario.draws else "before any throw was measured"
    kept = [] if margin is None or not margin.draws else [
        f"Of {margin.draws} builds drawn from the stated uncertainties, {margin.kept * margin.draws:.0f} keep all"
        f" judged limits together that protect people and parts, {when}."
    ]  # fmt: skip
    jams = [] if margin is None or margin.jams < MANY_JAMS / 5 else [
        f"It jams in {margin.jams * margin.draws:.0f} of them at these speeds."
    ]  # fmt: skip
    return [*kept, *jams, *limits.missing_keys(rows)]


def no_card(message: str, hint: str, source: Provenance) -> Answer:
    """Return the "no" of a card without settings to pin up."""
    names = ("card", "exit_speed_m_s", "outlet_speed_m_s", "exit_energy_J", "builds_kept_fraction")
    content: dict[str, Any] = {**dict.fromkeys(names), "planned": True, "stages": [], "limits": [], "first_throws": []}
    screen = Screen(f"{message[0].upper()}{message[1:]}.", notes=[f"Nothing was written. {hint}."])
    return Answer(screen, document(content, source), yes=False)


def card_answer(
    card: Card, best: Settings, first: Sequence[FirstThrow], margin: Margin | None, path: Path, source: Provenance, *,
    planned: bool, refusal: str = "",
) -> Answer:  # fmt: skip
    """Return where the card is and what it says; it is a "no" where its settings break a limit or jam.

    refusal: why no card was written, "" where it was.
    """
    launcher = best.design.launcher
    leaves = float(outlet_speed(launcher, best.exit_speed))
    content = {
        "card": None if refusal else str(path), "planned": planned, "stages": throws.stages(launcher, best.throw),
        "exit_speed_m_s": best.exit_speed, "outlet_speed_m_s": leaves,
        "exit_energy_J": float(translation_energy(leaves, launcher.projectile)),
        "limits": limits.rows(best.verdicts, not_judged(best.design)),
        "builds_kept_fraction": None if margin is None else margin.kept,
        "first_throws": [
            {
                "speed_fraction": one.share, "wheel_speed_m_s": one.wheel_speed, "wheel_speed_b_m_s": one.wheel_speed_b,
                "outlet_speed_m_s": one.exit_speed,
                "interval_m_s": None if one.low is None else [one.low, one.high],
            }
            for one in first
        ],
    }  # fmt: skip
    if refusal:
        hint = "Nothing was written. stager check tells what helps."
        return Answer(Screen(refusal, [card.settings, card.limits], [hint]), document(content, source), yes=False)
    tables = [card.settings, *([first_table(best, first)] if first else [])]
    screen = Screen(
        card.headline, tables, [card.first_note, *card.limit_notes, f"The card is {path}."], verdict=card.alarm,
        more_tables=[card.limits],
    )  # fmt: skip
    return Answer(screen, document(content, source), yes=not card.alarm)
