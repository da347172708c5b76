"""The card: one A4 sheet to pin up beside the launcher, as HTML or PDF.

It tells settings wheel by wheel, first throws, limits and cautions: as text and tables, then as self-contained HTML,
or as a PDF drawn with matplotlib, with lengths in millimetres.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from stager.constraints import not_judged
from stager.model.launcher import Launcher, Scenario
from stager.optimise.records import Margin, Settings
from stager.optimise.robust import MANY_JAMS, FirstThrow
from stager.physics.flight import outlet_speed
from stager.physics.mechanics import translation_energy
from stager.report import limits
from stager.report import throw as throws
from stager.report.answer import Answer, Column, Provenance, Screen, Table, document, misfit_sentence
from stager.report.figures import picture
from stager.report.limits import LimitRow
from stager.report.numbers import MISSING, digits, listing, plural, speed
from stager.report.plan import CAUTIONS
from stager.units import format_quantity
from stager.version import __version__

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

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
        shown = u if best.shown is None else float(best.shown.wheel_speed[side, k])
        throttle = throttles.get((k, side))
        cells = (
            str(k + 1), name, speed(shown), rpm_of(best, k, side),
            MISSING if throttle is None else f"{100 * throttle:.1f}",
            MISSING if names[side] != leads or np.isnan(grip) else _below(1 - u / grip), speed(exit_speed),
        )  # fmt: skip
        found.append((cells, worth))
    return found


def rpm_of(best: Settings, k: int, side: int) -> str:
    """Return what the tachometer shall show for a wheel of stage `k`, side A (0) or B (1) [rpm]."""
    if best.shown is not None:
        return f"{best.shown.indicated_rpm[side, k]:.0f}"
    return throws.rpm_to_set(best.design.launcher, k, float((best.wheel_speed, best.beside)[side][k]))


def _below(share: float) -> str:
    return f"{max(100 * share, 0.0):.1f}" if share > -5e-4 else f"{-100 * share:.1f} past"


def facts(launcher: Launcher, best: Settings) -> str:
    """Return sentences on feed, supply and exit speed, and on what the tachometer shows."""
    parts = [f"Feed at {digits(float(launcher.feed.speed))} m/s"]
    if launcher.feed.rate is not None:
        parts.append(f"{float(launcher.feed.rate):g} a second")
    if launcher.feed.magazine is not None:
        parts.append(f"magazine of {launcher.feed.magazine}")
    if launcher.supply is not None:
        parts.append(f"supply {format_quantity(float(launcher.supply.voltage), 0.0, 'V')}")
    parts.append(f"exit speed {speed(float(outlet_speed(launcher, best.exit_speed)))} m/s")
    missing = " Stages without a figure below grip limit have no grip limit in their range."
    shown = "" if throws.shows_true_speeds(launcher) else " The rpm are as the tachometer shows them, m/s are true."
    return f"{', '.join(parts)}.{missing if np.isnan(best.grip_limit).any() else ''}{shown}"


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
        title=scenario.title or file, headline=headline,
        alarm=f"{misfit_sentence(source.misfit)} {_alarm(scenario, rows, margin)}".strip(),
        settings=_settings(best), facts=facts(launcher, best), first=_first_wide(best, throws) if throws else None,
        first_note=_first_note(scenario, throws), limits=_limits(rows, margin),
        limit_notes=tuple(_limit_notes(scenario, rows, margin, source.misfit)), cautions=(SAFETY, *CAUTIONS[1:]),
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
        kept = f"{np.floor(100 * margin.kept):.0f} of 100 builds"
        sentences.append(f"Only {kept} keep the limits below, {100 * wanted:.3g} should.")
    return " ".join(sentences)


def _settings(best: Settings) -> Table:
    rows = tuple(tuple(cells) for cells, _ in settings_rows(best.design.launcher, best, best.count))
    return Table("Set the wheels to", COLUMNS, rows).without_empty(MISSING)


def first_table(best: Settings, throws: Sequence[FirstThrow]) -> Table:
    """Return the table of first throws for a screen, with the rpm of all stages in one column."""
    columns = (
        Column("wheel speed", "%"), Column("stage by stage", "rpm", words=True), Column("expect", "m/s"),
        Column("95 % of builds", "m/s"),
    )  # fmt: skip
    shown = range(best.count) if best.count <= MOST_RPM else range(0)
    rows = tuple(
        (f"{100 * one.share:.0f}", " / ".join(_turns(best, one, k) for k in shown) or MISSING,
         speed(one.exit_speed), _between(one)) for one in throws
    )  # fmt: skip
    return Table("First throws, slowest first", columns, rows).without_empty(MISSING)


def _turns(best: Settings, one: FirstThrow, k: int) -> str:
    """Return the rpm that the tachometer shall show of the wheels of a stage, A:B where they differ."""
    launcher = best.design.launcher
    if one.share == 1.0:
        a, b = (rpm_of(best, k, side) for side in range(2))
    else:
        a, b = (throws.rpm_to_set(launcher, k, float(u[k])) for u in (one.wheel_speed, one.wheel_speed_b))
    return a if a == b or not launcher.stage(k).layout.side_b_driven else f"{a}:{b}"


def _between(one: FirstThrow) -> str:
    return MISSING if one.low is None else f"{speed(one.low)} to {speed(one.high)}"


def _first_wide(best: Settings, throws: Sequence[FirstThrow]) -> Table:
    """Return the table of first throws for the sheet, with a column for each stage."""
    count = best.count
    shown = range(count) if count <= MOST_RPM else range(0)
    columns = (
        Column("wheel speed", "%"), *(Column(f"stage {k + 1}", "rpm") for k in shown), Column("expect", "m/s"),
        Column("95 % of builds", "m/s"), Column("measured", "m/s", words=True),
    )  # fmt: skip
    rows = (
        (f"{100 * one.share:.0f}", *(_turns(best, one, k) for k in shown), speed(one.exit_speed), _between(one),
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


def _limit_notes(scenario: Scenario, rows: Sequence[LimitRow], margin: Margin | None, misfit: str) -> list[str]:
    when = "given the measured throws" if scenario.draws else "before any throw was measured"
    if misfit:
        when = "by a fit that does not fit"
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


POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
"""Content security policy of the sheet."""
LARGEST_HTML = 1.15
"""Greatest scale of the type in HTML [-]."""
ROWS_HTML = 39.0
"""Rows that a sheet holds at scale 1, counted by `_rows_of_html`."""


def html(card: Card) -> str:
    """Return the card as an HTML document; equal for equal input."""
    from stager.report.page.render import environment

    size = min(LARGEST_HTML, ROWS_HTML / _rows_of_html(card))
    style = f":root{{--size:{size:.3f}}}\n{(files('stager.report.page') / 'templates' / 'card.css').read_text('utf-8')}"
    sheet = environment().get_template("sheet.html").render(card=card, style=Markup(style), policy=POLICY)
    return f"{sheet}\n"


def _rows_of_html(card: Card) -> float:
    """Return the length of the card in rows of its smaller tables."""
    texts = [card.facts, card.first_note, *card.limit_notes, *card.cautions]
    heads = 1.9 * -(-len(card.title) // 40) + 1.3 * -(-len(card.headline) // 75) + 2.0 * -(-len(card.alarm) // 60)
    first = 0.0 if card.first is None else 1.35 * len(card.first.rows) + 2.5
    lines = sum(-(-len(text) // 85) for text in texts)
    return 1.6 * len(card.settings.rows) + first + len(card.limits.rows) + 0.85 * lines + heads + 3.5


WIDTH = 210.0
"""Width of A4 [mm]."""
HEIGHT = 297.0
"""Height of A4 [mm]."""
MARGIN = 12.0
"""Margin on all sides [mm]."""
POINT = 25.4 / 72
"""A typographic point [mm]."""
LARGEST = 1.15
"""Scale of the type that is tried first [-]."""
SHRINK = 0.97
"""Factor to the next smaller scale [-]."""
LEAST = 0.3
"""Scale at which attempts end, whether the card fits or not [-]."""
LEAST_GAP = 1.5
"""Least distance between columns [mm]."""
INK = "#111111"
MUTED = "#444444"
RULE = "#bbbbbb"
ALARM = "#a01010"
LEADING = 1.3
"""Distance of lines of text over the type's size [-]."""
ROW = 0.95
"""Height of a table's row over the type's size [-]."""
ASCENT = 0.76
"""Height of a capital over the type's size [-]."""


def pdf(card: Card) -> bytes:
    """Return the card as a PDF document of one page; equal for equal input."""
    return picture.as_pdf(draw(card), "card", card.title)


def draw(card: Card) -> Figure:
    """Return the card as a figure of an A4 page, as large as it fits."""
    from matplotlib.figure import Figure

    size = LARGEST
    while ((sheet := _lay_out(card, size)).y < MARGIN or sheet.too_wide) and size > LEAST:
        size *= SHRINK
    with picture.styled("card"):
        figure = Figure(figsize=(WIDTH / 25.4, HEIGHT / 25.4), facecolor="white")
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(0, WIDTH), ylim=(0, HEIGHT))
        axes.set_axis_off()
        for item in sheet.drawn:
            item(axes)
    return figure


@dataclass(slots=True)
class _Sheet:
    """A sheet that is filled from the top.

    size: scale of the type; y: where the next line begins [mm]; too_wide: a table exceeds the margin; drawn: what
    puts each item on matplotlib axes.
    """

    size: float
    y: float = HEIGHT - MARGIN
    too_wide: bool = False
    drawn: list[Callable[[Axes], object]] = field(default_factory=list)

    def text(self, text: str, points: float, *, bold: bool = False, colour: str = INK, indent: float = 0.0) -> None:
        """Add a paragraph, wrapped at the margin."""
        for line in _wrapped(text, points * self.size, WIDTH - 2 * MARGIN - indent, bold=bold):
            self.put(MARGIN + indent, line, points, bold=bold, colour=colour)
            self.down(points * LEADING * POINT)

    def put(
        self, x: float, text: str, points: float, *, bold: bool = False, colour: str = INK, right: bool = False
    ) -> None:
        """Add a text that begins, or with `right` ends, at `x`."""
        size = points * self.size
        y = self.y - ASCENT * size * POINT
        self.drawn.append(lambda axes: axes.text(
            x, y, text, fontsize=size, color=colour, va="baseline", ha="right" if right else "left",
            fontweight="bold" if bold else "normal",
        ))  # fmt: skip

    def rule(self, colour: str = RULE, width: float = 0.5) -> None:
        """Add a line from margin to margin."""
        y = self.y
        self.drawn.append(lambda axes: axes.plot([MARGIN, WIDTH - MARGIN], [y, y], color=colour, linewidth=width))

    def frame(self, top: float, colour: str = INK) -> None:
        """Add a frame from `top` to here."""
        x, y = [MARGIN - 2, WIDTH - MARGIN + 2], [top, self.y]
        self.drawn.append(lambda axes: axes.plot(
            [x[0], x[1], x[1], x[0], x[0]], [y[0], y[0], y[1], y[1], y[0]], color=colour, linewidth=1.2
        ))  # fmt: skip

    def down(self, distance: float) -> None:
        """Go down by `distance` [mm] at scale 1."""
        self.y -= distance * self.size


def _lay_out(card: Card, size: float) -> _Sheet:
    sheet = _Sheet(size)
    sheet.text(card.title, 20, bold=True)
    sheet.down(1)
    sheet.text(card.headline, 11.5, bold=True)
    if card.alarm:
        sheet.down(2)
        top = sheet.y
        sheet.down(1.5)
        sheet.text(card.alarm, 14, bold=True, colour=ALARM)
        sheet.frame(top, ALARM)
    _table(sheet, card.settings, 14, bold=True)
    sheet.text(card.facts, 10)
    if card.first is not None:
        _table(sheet, card.first, 11, space=1.7)
    sheet.down(1)
    sheet.text(card.first_note, 10)
    _table(sheet, card.limits, 9.5)
    for note in card.limit_notes:
        sheet.text(note, 10)
    sheet.down(3)
    top = sheet.y
    sheet.down(1.5)
    for text in card.cautions:
        sheet.text(text, 11, bold=True)
    sheet.down(1)
    sheet.frame(top)
    sheet.down(2)
    sheet.text(card.stamp, 8, colour=MUTED)
    return sheet


def _table(sheet: _Sheet, item: Table, points: float, *, bold: bool = False, space: float = 0.9) -> None:
    """Add a table over the whole width; the columns share the free width."""
    sheet.down(4)
    sheet.text(item.title, 12, bold=True)
    sheet.rule(INK, 1.2)
    sheet.down(1)
    small = points * 0.72
    heads = [[column.head, column.unit] for column in item.columns]
    wide = [
        max([picture.text_width(cell, points * sheet.size, bold=bold) for cell in cells]
            + [picture.text_width(text, small * sheet.size) for text in head]) * POINT
        for head, cells in zip(heads, zip(*item.rows, strict=True), strict=True)
    ]  # fmt: skip
    gap = (WIDTH - 2 * MARGIN - sum(wide)) / max(1, len(wide) - 1)
    sheet.too_wide |= gap < LEAST_GAP
    lefts = [MARGIN + sum(wide[:i]) + gap * i for i in range(len(wide))]
    for line in range(2 if any(head[1] for head in heads) else 1):
        for column, left, width, head in zip(item.columns, lefts, wide, heads, strict=True):
            x = left if column.words else left + width
            sheet.put(x, head[line], small, colour=MUTED, right=not column.words)
        sheet.down(small * LEADING * POINT)
    for row in item.rows:
        sheet.down(space)
        for column, left, width, cell in zip(item.columns, lefts, wide, row, strict=True):
            x = left if column.words else left + width
            colour = MUTED if not cell.strip(".") else INK
            sheet.put(x, cell, points, bold=bold or cell == "BROKEN", right=not column.words, colour=colour)
        sheet.down(points * ROW * POINT + space)
        sheet.rule()
    sheet.down(1)


def _wrapped(text: str, points: float, width: float, *, bold: bool) -> Sequence[str]:
    """Return lines no wider than `width` [mm]; a wider word is cut."""
    lines, line = [], ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if picture.text_width(longer, points, bold=bold) * POINT <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while picture.text_width(line, points, bold=bold) * POINT > width and len(line) > 1:
            fits = next(n for n in range(len(line) - 1, 0, -1)
                        if n == 1 or picture.text_width(line[:n], points, bold=bold) * POINT <= width)  # fmt: skip
            lines.append(line[:fits])
            line = line[fits:]
    return [*lines, line] if line else lines
