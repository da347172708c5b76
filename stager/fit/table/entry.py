"""Throws typed one by one: what a line means, and what is doubtful about it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stager.constraints.wheels import motor_ceiling, reach_ceiling
from stager.fit.table.book import Book
from stager.fit.table.columns import LENGTHS, SPEEDS, TEMPERATURES, TIMES, VOLTS, Head, number
from stager.fit.table.reader import cells_of, read_word
from stager.fit.table.throws import SURFACE, THROTTLE, TURNING_RATE, Throws
from stager.model.launcher import Launcher
from stager.model.stage import Stage

TRUST = 0.03
"""Share by which instruments may be off before a throw is doubted [-]; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """What is wrong with a throw; speeds in m/s.

    most: exit speed that its wheels allow at most, where it is faster (None: it is not); beyond: stages (from 1) whose
    wheels are faster than their motors reach, each with what it reaches.
    """

    most: float | None
    beyond: tuple[tuple[int, float], ...]

    def __bool__(self) -> bool:
        """Whether there is any doubt."""
        return self.most is not None or bool(self.beyond)


def doubts(launcher: Launcher, wheel_speed: dict[int, float], exit_speed: float) -> Doubts:
    """Return what cannot be of a throw with wheels at `wheel_speed` by stage (from 0) that leaves at `exit_speed`.

    Speeds in [m/s]. A projectile that grips a wheel goes as fast as its surface along the tangent, so by the tilt of
    the contact a little faster along the barrel: v cos φ = u.
    """
    most = max([u * tilt(launcher, launcher.stage(k)) for k, u in wheel_speed.items()], default=np.inf)
    most = max(most, float(np.max(launcher.feed.speed)))
    beyond = []
    for k, speed in wheel_speed.items():
        stage = launcher.stage(k)
        reached = min(float(np.max(ceiling(launcher, stage))) for ceiling in (motor_ceiling, reach_ceiling))
        if speed > (1 + TRUST) * reached:
            beyond.append((k + 1, reached))
    return Doubts(most=most if exit_speed > (1 + TRUST) * most else None, beyond=tuple(beyond))


def tilt(launcher: Launcher, stage: Stage) -> float:
    """Return 1/cos φ where a projectile comes into contact [-]: how much faster than the wheel it may go."""
    if not launcher.projectile.shape.rolls:
        return 1.0
    reach = stage.wheel.radius + launcher.projectile.radius
    return float(np.max(reach / (reach - stage.layout.crush_share * stage.crush)))


JAM = "jam"
_WITH_UNIT = re.compile(r"(?P<number>[+-]?[\d.,']*\d[\d.,']*)\s*(?P<unit>[^\d\s.,'].*)")
_PARTED = re.compile(r"\s*[;\t]\s*|,?\s+")
_NUMBER = re.compile(r"[+-]?[\d.,']*\d[\d.,']*(:[\d.,']+)?")
LASTING = ("build", "supply", "temperature")
"""Columns that keep their value until another one is given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One throw in the units of the heads: wheel speeds (side A, side B or None; None: no such stage), exit speed."""

    wheels: tuple[tuple[float | None, float | None], ...]
    exit_speed: float
    note: str = ""


def wheel_heads(book: Book) -> list[tuple[Head, Head | None]]:
    """The column of each stage, and of its side B where it has one; of two kinds the one that comes first."""
    found: list[tuple[Head, Head | None]] = []
    wheels = [head for head in book.heads if head.reading is not None]
    for stage in sorted({head.stage for head in wheels}):
        side_a = next(h for h in wheels if h.stage == stage and not h.side)
        same = (h for h in wheels if h.stage == stage and h.side and h.reading is side_a.reading)
        found.append((side_a, next(same, None)))
    return found


def row_of(text: str, book: Book) -> list[str] | None:
    """Cells of a line that is a whole row of the table; None where it is not."""
    cells = cells_of(text, book.delimiter)
    if book.delimiter not in text or len(cells) != book.width or book.width <= 2:
        return None
    words = {head.place for head in book.heads if head.unit is None}
    return [read_word(cell) if place in words else cell for place, cell in enumerate(cells)]


def parse(text: str, book: Book, before: Entry | None) -> Entry:
    """Read what was typed: "3000 11.6", "3000 4000 15.2 windy", "3000 jam", or "11.6" for the wheels of `before`.

    Raises ValueError that says what is wrong.
    """
    numbers, note = _split(text)
    values = [0.0 if word == JAM else number(word, book.marks) for word in numbers if ":" not in word[:-1]]
    if not numbers or (len(numbers) == 1 and before is None):
        raise ValueError("needs wheel speeds, then the exit speed")
    if len(numbers) == 1:
        _unclear(numbers[0], book)
        if values[0] is None:
            raise ValueError("has no exit speed")
        return Entry(wheels=before.wheels if before is not None else (), exit_speed=values[0], note=note)
    leaves = 0.0 if numbers[-1] == JAM else number(numbers[-1], book.marks)
    if leaves is None:
        raise ValueError("has no exit speed")
    heads = wheel_heads(book)
    if len(numbers) - 1 > len(heads):
        name = heads[0][0].text.replace("1", str(len(numbers) - 1), 1)
        raise ValueError(f"has {len(numbers) - 1} wheel speeds, the table {len(heads)}: add the column {name}")
    wheels = tuple(_wheel(word, pair, book) for word, pair in zip(numbers[:-1], heads, strict=False))
    if all(side_a is None for side_a, _ in wheels):
        raise ValueError("has no wheel speed")
    return Entry(wheels=wheels, exit_speed=leaves, note=note)


def measure(text: str, head: Head, book: Book) -> str:
    """Return a lasting value as its column has it: "12.4", or with a unit, "12.4 V".

    Raises ValueError that says what is wrong.
    """
    plain, unit = text.strip(), head.unit
    found = _WITH_UNIT.fullmatch(plain)
    if unit is None or found is None:
        number(plain, book.marks)
        return plain
    known = next((units for units in (VOLTS, TEMPERATURES, TIMES, LENGTHS, SPEEDS) if unit in units.values()), {})
    if found["unit"] not in known:
        named = ", ".join(known) or "no unit"
        raise ValueError(f'"{found["unit"]}" is no unit of {head.name}: {named}')
    value = number(found["number"], book.marks)
    if value is None:
        raise ValueError(f'"{plain}" has no number')
    return _text(float(f"{unit.from_si(known[found['unit']].to_si(value)):.10g}"), book)


def cells(entry: Entry, book: Book, throw: int, lasting: Mapping[str, str]) -> list[str]:
    """The row of an entry, as long as the line of heads."""
    row = [""] * book.width
    texts = {"throw": str(throw), "exit_speed": _text(entry.exit_speed, book), "note": entry.note, **lasting}
    for head in book.heads:
        row[head.place] = texts.get(head.name, "")
    for (side_a, side_b), (a, b) in zip(wheel_heads(book), entry.wheels, strict=False):
        row[side_a.place] = _text(a, book)
        if side_b is not None:
            row[side_b.place] = _text(b, book)
    return row


def entry_of(throws: Throws, book: Book, row: int = -1) -> Entry | None:
    """A throw of a table as it would be typed, the last one by default; None where there is none."""
    if not len(throws):
        return None
    exit_head = next(head for head in book.heads if head.name == "exit_speed")
    wheels = tuple(
        (_typed(throws, row, side_a), None if side_b is None else _typed(throws, row, side_b))
        for side_a, side_b in wheel_heads(book)
    )
    return Entry(
        wheels=wheels, exit_speed=_from_si(throws.exit_speed[row], exit_head), note=str(throws.note[row])
    )  # fmt: skip


def in_column(surface_speed: float, head: Head, book: Book) -> float | None:
    """A surface speed [m/s] as the column of a wheel has it; None where that takes more than its radius."""
    unit = head.unit
    if unit is None or head.reading not in (SURFACE, TURNING_RATE):
        return None
    radius = float(np.asarray(book.launcher.stage(head.stage).wheel.radius))
    si = surface_speed if head.reading is SURFACE else surface_speed / radius
    return (si - unit.offset) / unit.factor


def throttle_for(surface_speed: float, head: Head, book: Book) -> float | None:
    """Throttle that settles at a surface speed [m/s] with this stage alone on the supply, in the column's unit; None
    for other columns and where full throttle is too slow."""
    if head.unit is None or head.reading is not THROTTLE:
        return None
    shares = np.linspace(0.0, 1.0, 201)
    speeds = THROTTLE.surface_speed(book.launcher, (head.stage,), shares[:, None], np.full(shares.size, np.nan))[:, 0]
    if not speeds[0] <= surface_speed <= speeds[-1]:
        return None
    return float(np.interp(surface_speed, speeds, shares)) / head.unit.factor


def _typed(throws: Throws, row: int, head: Head) -> float | None:
    wheel = next(w for w in throws.wheels if (w.stage, w.side, w.reading) == (head.stage, head.side, head.reading))
    value = float(wheel.values[row])
    return None if np.isnan(value) else _from_si(value, head)


def _from_si(value: float, head: Head) -> float:
    unit = head.unit
    return float(value) if unit is None else float(f"{(float(value) - unit.offset) / unit.factor:.10g}")


def _split(text: str) -> tuple[list[str], str]:
    """Words that are numbers, then the note. Without blanks between them, commas part the numbers."""
    rest = text.strip()
    if re.fullmatch(r"[\d.,:+-]+", rest) and not _decimal(rest):
        rest = rest.replace(",", " ")
    words = []
    while rest:
        word, after = [*_PARTED.split(rest, maxsplit=1), ""][:2]
        if not (word.lower() == JAM or word == "-" or _NUMBER.fullmatch(word)):
            break
        words.append(word.lower())
        rest = after
    return words, rest


def _decimal(word: str) -> bool:
    """Whether a lonely word may be one number with a decimal comma."""
    return re.fullmatch(r"\d+,\d*", word) is not None


def _unclear(word: str, book: Book) -> None:
    """Raises ValueError for "15,5": two numbers, or one."""
    if "," in word and not book.marks.comma:
        first, _, second = word.partition(",")
        raise ValueError(f'"{word}" can be read two ways: write "{first} {second}" or "{first}.{second}"')


def _wheel(word: str, heads: tuple[Head, Head | None], book: Book) -> tuple[float | None, float | None]:
    side_a, _, side_b = word.partition(":")
    if side_b and heads[1] is None:
        name = heads[0].text.replace(str(heads[0].stage + 1), f"{heads[0].stage + 1}b", 1)
        raise ValueError(f'"{word}" sets the wheels of a pair apart: the table needs the column {name}')
    return number(side_a, book.marks), number(side_b, book.marks) if side_b else None


def _text(value: float | None, book: Book) -> str:
    if value is None:
        return ""
    text = f"{value:.10g}"
    text = text if float(text) == value else repr(value)
    return text.replace(".", ",") if book.marks.comma else text
