"""`stager explain`: the glossary of terms and limits, and the keys of the configuration."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from stager.errors import InputError
from stager.report.answer import Answer, Column, Screen, Table
from stager.version import __version__


@dataclass(frozen=True, slots=True)
class Term:
    """An entry of the glossary; picture: lines of characters, at most 72 wide; see: related terms."""

    text: str
    picture: str = ""
    see: tuple[str, ...] = ()


_GRIP_PICTURE = """\
exit speed
  |            . - .      <- grip limit: fastest throw
  |         .'       ' - . _
  |       .'   rolls       slips only
  |     .'  with the wheel
  |   .'
  +---------------------------- wheel speed"""
_NIP_PICTURE = """\
      (  wheel A  )   turns forward
       \\_______.'
    -->  ( ball ) -->     free gap = diameter - crush
       .-------.
      (  wheel B  )   or a rail, or an idler"""
_LADDER_PICTURE = """\
exit speed
  |                    ._____ 4
  |             ._____|  3
  |       .____|  2            each step adds less
  |  ____|  1                  than the one before
  +----------------------- number of stages"""

_TABLE = """\
# uncertainty: flight_time 5 ms, distance 1 cm
throw,wheel_1 [rpm],flight_time [ms],distance [m],note
1,2000,744,2.00,
2,2500,601,2.00,hit the edge"""

TERMS: dict[str, Term] = {
    "stage": Term(
        "One place where the projectile is gripped and pushed: a driven wheel and what presses from the other side.",
        _NIP_PICTURE, ("pair", "rail", "idler"),
    ),
    "pair": Term("A stage with two driven wheels. At equal speeds the projectile leaves without spin.", see=("stage",)),
    "rail": Term(
        "A stage with one driven wheel against a fixed strip. The projectile rolls along the strip, so it leaves at"
        " about half the wheel's surface speed, with backspin.", see=("stage", "rolling"),
    ),
    "idler": Term(
        "A stage with one driven wheel against a wheel that turns freely. The free wheel must be brought up to speed by"
        " every throw, which takes energy from it.", see=("stage",),
    ),
    "grip limit": Term(
        "The slowest wheel speed at which a stage throws as fast as it can. Below it the projectile catches up with the"
        " wheel. Above it the contact slips to the end, friction falls, and the throw gets slower although the wheel is"
        " faster, or hardly faster: less than 0.1 % of exit speed for 1 % of wheel speed. The best setting lies just"
        " below it.", _GRIP_PICTURE, ("grip margin", "slip", "sync"),
    ),
    "slip": Term(
        "Difference of speed between the wheel's surface and the projectile's. Slip makes friction push, heat and wear."
        " A throw that ends with the grip word 'slip' never caught up with its wheel.", see=("sync", "slip heat"),
    ),
    "sync": Term("The projectile has caught up with the wheel: slip is down to three times the creep.", see=("creep",)),
    "jam": Term(
        "The projectile does not get through: before the narrowest point the wheels push it back, and friction does not"
        " pull it in hard enough. A faster feed, less crush, a larger wheel or more friction gets it through. Or it"
        " stops a wheel that is light or slow, and a rod stays where a rail rubs as much as the wheel pulls.",
        see=("bite",),
    ),
    "bite": Term(
        "Whether friction alone pulls a resting projectile in: friction must exceed the tangent of the angle at which"
        " wheel and projectile first touch. Rolling mills have the same condition.", see=("jam",),
    ),
    "crush": Term(
        "How much narrower the gap is than the projectile, in total: wheel tyre and projectile are squeezed by this"
        " much together. More crush grips harder, and costs more energy and more strain.", _NIP_PICTURE, ("rebound",),
    ),
    "charge": Term(
        "How long a battery lasts (stager motor): throws at the feed's rate while its voltage falls, until the wheels"
        " can no longer be held or a loaded cell is down to 3.3 V. supply.cells says how many lithium cells are in"
        " series, 3.7 V each where it is left out. supply.batteries, or a CSV table named in supply.battery_list, are"
        " batteries that it compares, the lightest first where all masses are known.", see=("droop",),
    ),
    "magazine": Term(
        "How many projectiles are at hand (feed.magazine). At feed.rate it is empty after so many throws divided by the"
        " rate; check, plan, motor, card and page say so, and how many magazines one charge of the supply throws where"
        " its capacity is known.", see=("charge", "droop"),
    ),
    "pusher": Term(
        "What pushes projectiles into the first nip (feed.pusher: force, travel, return_time). check and plan say what"
        " force the wheels need behind the projectile at the feed's speed and from rest, and how far the pusher must"
        " follow it until the wheels take over.", see=("bite", "jam"),
    ),
    "range of wheels": Term(
        "The plan may choose the wheels: stage.wheel.radius_range and inertia_range are ends between which it looks,"
        " and stage.crush_range those of the crush. Another radius means a wheel of the same make: inertia and mass"
        " follow. Another inertia means a wider or narrower wheel. Larger wheels bite better and need fewer turns, but"
        " make the launcher longer and take longer to spin up; heavier ones lose less speed in each throw.",
        see=("crush", "droop", "bite"),
    ),
    "rebound": Term(
        "Share of the energy of squeezing that comes back as the projectile leaves the gap. The rest is lost as heat"
        " inside tyre and projectile. 1 is a perfect spring.", see=("crush",),
    ),
    "creep": Term(
        "Slip at which a rubber contact reaches its full friction. Soft tyres shear, so they need more slip.",
        see=("slip",),
    ),
    "stiffness": Term(
        "How hard tyre and projectile press back together, per side: force per length of crush. Press the ball against"
        " the tyre on a kitchen scale and note force and distance.", see=("crush",),
    ),
    "stiffening": Term(
        "Rubber and foam press back harder the faster they are squeezed: 0.005 s/m is half a percent more for each m/s"
        " of wheel speed. It is hard to tell from friction that changes with slip. Give it a ±, and"
        " a fit looks for it; where throws cannot tell, predictions for faster wheels are then less certain.",
        see=("stiffness", "friction law"),
    ),
    "friction law": Term(
        "How the coefficient of friction depends on slip speed. constant: one value. falling: high at little slip, low"
        " at much. rising: the other way round. bell: rises, peaks and falls. tabulated: through measured points.",
        see=("grip limit",),
    ),
    "rolling": Term(
        "On a rail a ball that rolls without slip has spin = speed / radius, and moves at half the wheel's"
        " surface speed.",
        see=("rail",),
    ),
    "ladder": Term(
        "Exit speed against number of stages, each count with its own best settings: what every further"
        " stage adds and costs.",
        _LADDER_PICTURE, ("worthwhile",),
    ),
    "worthwhile": Term(
        "The least gain of exit speed for which you would build one more stage (goal.worthwhile). Plans recommend"
        " stages up to the last that adds so much.", see=("ladder",),
    ),
    "droop": Term(
        "Share of its set speed by which a wheel is slower right after a throw. A heavier wheel droops less and takes"
        " longer to spin up.", see=("recovery time", "settled loss"),
    ),
    "recovery time": Term("Time after a throw until the wheels are back at their set speeds.", see=("droop",)),
    "outlet": Term(
        "Barrel, spout or sensor housing behind the last wheel. It takes a fixed energy from each throw, which matters"
        " most for slow throws.", see=("exit energy",),
    ),
    "coverage interval": Term(
        "The range that holds the true value with 95 % probability, if the stated uncertainties are right."
        " '95 % of builds' covers what is uncertain about this launcher, '95 % of shots' the differences from"
        " throw to throw.",
    ),
    "bound": Term(
        "A speed that no setting within the limits can exceed. The plan is at most so far from the best.",
        see=("ladder",),
    ),
    "confidence": Term(
        "Share of possible builds in which the planned settings keep all limits that protect people and parts"
        " (limits.confidence, 0.95 where left out). 0.5 asks for the nominal settings only.",
        see=("coverage interval",),
    ),
    "spin": Term("How fast the projectile turns as it leaves; positive where side A drives it forward.", see=("rail",)),
    "drag": Term("Force of the air against the flight; grows with the square of speed."),
    "spin parameter": Term(
        "Speed of the projectile's surface by its own spin, over its speed. At 1 it turns as if it rolled along a wall."
        " Spin lifts a ball or bends its path the more, the greater it is.", see=("spin", "drag"),
    ),
    "throws": Term(
        "The table of measured throws, a CSV file, one throw a line, with units in the heads. wheel_1 [rpm] or [m/s] is"
        " needed, or throttle_1 [%]; wheel_2 and so on for further stages, wheel_1b where side B of a pair runs at"
        " another speed. An empty cell: that stage was not built. Then exit_speed [m/s] of a chronograph, 0 for a jam;"
        " or flight_time [s] and distance [m], of two sounds or two pictures of a film; or range [m] and drop [m] of a"
        " level barrel. Optional: throw, build, supply [V], time [s], temperature [degC], note. Spreadsheets may"
        " separate with semicolons and write decimal commas. A comment says how well it was measured:"
        " # uncertainty: flight_time 5 ms, distance 1 cm.", _TABLE, ("coverage interval",),
    ),
}  # fmt: skip
"""Terms by name."""

LIMITS: dict[str, Term] = {
    "exit_energy": Term(
        "Energy of motion of what leaves the launcher, m v² / 2. Always required: it decides how badly a hit can hurt."
    ),
    "exit_speed": Term("Speed of what leaves the launcher, behind the outlet where there is one."),
    "energy_per_area": Term(
        "Exit energy divided by the area seen from the front. Small hard projectiles hurt more at equal energy."
    ),
    "toy": Term(
        "A published limit on toy projectiles. Limits per area use the area that touches (projectile.contact_area);"
        " without it they are not judged. Such a limit does not make a launcher a toy."
    ),
    "acceleration": Term("Greatest acceleration along the barrel. Brittle projectiles break above theirs."),
    "crush": Term("Squeeze of the projectile at speed, tyre growth included, against the most it stands (max_crush)."),
    "slip_heat": Term(
        "Heat that slip makes in one throw, both sides, all stages. Too much smears tyres and melts plastics."
    ),
    "grip_margin": Term(
        "How far below its grip limit each wheel stays. A margin costs little speed and keeps throws alike when"
        " friction changes.", see=("grip limit",),
    ),
    "stages": Term("Greatest number of stages."),
    "length": Term("Length along the barrel, from the first wheel's front to the end of the outlet."),
    "mass": Term("Mass of all stages together."),
    "cost": Term("Cost of all stages together, in any currency."),
    "wheel_speed": Term("Greatest surface speed of any wheel."),
    "motor_speed": Term("Speed of a motor against the greatest that it stands (drive.max_speed)."),
    "drive_reach": Term("Wheel speed against the most that the motor reaches at full throttle with this supply."),
    "burst": Term(
        "Wheel speed against the one at which the hub breaks. Brittle and printed hubs break at the greatest stress,"
        " ductile metal at the mean one. Stay out of the wheel's plane."
    ),
    "tyre_retention": Term(
        "Wheel speed against the one at which the tyre comes off. A ring that is only stretched over the rim lifts off;"
        " a lip, a clamp or a bond holds it as far as its own strength goes. Where that is unknown, it is not judged."
    ),
    "rim_safety": Term("Strength of the hub divided by its greatest stress; 3 or more is usual."),
    "tyre_turning": Term("Grip force against the friction that keeps the tyre from turning on its hub."),
    "throttle": Term("Share of the supply's voltage that holds the wheels at their speeds; 1 is all there is."),
    "voltage": Term("Open voltage of the supply."),
    "peak_power": Term("Greatest power that the supply gives while all wheels spin up together."),
    "supply_current": Term("Greatest current that the supply gives while all wheels spin up together."),
    "average_power": Term("Mean power that the supply gives while throwing at the feed's rate."),
    "winding_temperature": Term(
        "Temperature of the hottest motor winding after a session at the feed's rate. Insulation and magnets fail above"
        " theirs; many small motors stand about 100 to 120 degC (common practice, no source)."
    ),
    "settled_loss": Term(
        "Loss of exit speed from the first throw to steady throwing at the feed's rate.", see=("droop",)
    ),
    "later_energy": Term(
        "Greatest exit energy of throws at the feed's rate, against the least that the limits on exit energy and exit"
        " speed allow. A wheel that turns so fast that the projectile slips through throws harder as it slows down, so"
        " the first throw may keep a limit that a later one breaks.", see=("grip limit", "droop")
    ),
}  # fmt: skip
"""Limits by key."""


_PREFIX = "#/$defs/"
"""Beginning of a reference to a table of the JSON Schema."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key of the configuration: dotted name, description, SI unit, an example, whether it is required.

    values: words that it may have, each with what it means ("" where that is not said); none: any
    """

    name: str
    text: str
    unit: str
    example: str
    required: bool
    values: tuple[tuple[str, str], ...] = ()

    @property
    def meaning(self) -> str:
        """Return the description and the words that are allowed."""
        text = f"{self.text[:1].upper()}{self.text[1:]}." if self.text else ""
        words = [f"{word} ({meaning})" if meaning else word for word, meaning in self.values]
        return f"{text} One of: {', '.join(words)}.".strip() if words else text


@dataclass(frozen=True, slots=True)
class Lines:
    """A picture made of finished lines."""

    title: str
    text: str

    def lines(self, width: int) -> list[str]:
        """Return its lines, cut to `width`."""
        return [line[:width] for line in self.text.splitlines()]


@cache
def configuration_keys() -> dict[str, Key]:
    """Return every key of the configuration by its dotted name; entries of a list have the name of the list."""
    from stager.config import schema_json

    schema = schema_json()
    found: dict[str, Key] = {}
    for key in _walk(schema, schema["$defs"], ()):
        known = found.get(key.name)
        # A word that selects one of several tables is a key of each.
        joined = known is not None and known.values and key.values and known.values != key.values
        found[key.name] = replace(key, values=known.values + key.values) if known is not None and joined else key
    return found


def _walk(table: Mapping[str, Any], tables: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[Key]:
    required = table.get("required", ())
    for name, entry in table.get("properties", {}).items():
        if name == "stages" and not path:
            continue
        place = (*path, name)
        example = next(iter(entry.get("examples", ())), None)
        text, _, unit = str(entry.get("description", "")).rpartition(" [")
        if not unit.endswith("]"):
            text, unit = str(entry.get("description", "")), "]"
        values = tuple((str(word), "") for word in entry.get("enum", ()))
        if "const" in entry:
            text, values = "", ((str(entry["const"]), text),)
        yield Key(
            ".".join(place), text, unit[:-1], "" if example is None else _example(name, example), name in required,
            values,
        )  # fmt: skip
        for inner in _tables_of(entry):
            below = tables[inner.removeprefix(_PREFIX)]
            if inner not in (f"{_PREFIX}{name}" for name in path):
                yield from _walk(below, tables, place)


def _tables_of(entry: Mapping[str, Any]) -> list[str]:
    choices = [entry, *entry.get("oneOf", ()), *entry.get("anyOf", ())]
    found = [choice["$ref"] for choice in choices if "$ref" in choice]
    items = entry.get("items", {})
    return [*found, *([items["$ref"]] if isinstance(items, Mapping) and "$ref" in items else [])]


def _example(name: str, value: Any) -> str:
    from stager.config.toml import show_value

    return f"{name} = {show_value(value)}"


def answer(asked: str | None, seed: int = 0) -> Answer:
    """Return the explanation of a term, limit or key, or the list of all.

    Raises
    ------
    InputError
        For an unknown name; the hint has the nearest known ones.
    """
    keys = configuration_keys()
    if not asked:
        return _all(keys, seed)
    name = " ".join(asked.strip().lower().split())
    parts = _parts(name, keys)
    if not parts:
        known = [*TERMS, *LIMITS, *keys, *(key.rpartition(".")[2] for key in keys)]
        begin = [one for one in known if len(name) > 2 and one.startswith(name[: max(3, len(name) - 2)])]
        near = list(dict.fromkeys([*difflib.get_close_matches(name, known, 4, 0.7), *begin]))[:4]
        hint = f"did you mean {', '.join(near)}?" if near else "stager explain lists all terms"
        raise InputError(f'there is no term, limit or key "{asked[:60]}"', where="explain", hint=hint)
    return _answer(name, parts, seed)


@dataclass(frozen=True, slots=True)
class _Part:
    head: str
    text: str
    picture: str = ""
    see: tuple[str, ...] = ()
    example: str = ""
    unit: str = ""


def _parts(name: str, keys: Mapping[str, Key]) -> list[_Part]:
    """Return what a name stands for: a term, a limit, keys of that name."""
    found = []
    spaced, joined = name.replace("_", " "), name.replace(" ", "_")
    limit = joined.removeprefix("limits.")
    if spaced in TERMS:
        found.append(_of_term(spaced, TERMS[spaced]))
    if limit in LIMITS:
        found.append(_of_term(f"limit: {limit.replace('_', ' ')}", LIMITS[limit]))
    whole = [keys[joined]] if joined in keys else []
    ending = [key for key in keys.values() if key.name.rpartition(".")[2] == joined]
    for key in whole or ending[:6]:
        need = "Required." if key.required else "Optional."
        found.append(_Part(f"key: {key.name}", f"{key.meaning} {need}".strip(), example=key.example, unit=key.unit))
    return found


def _of_term(head: str, term: Term) -> _Part:
    return _Part(head, term.text, term.picture, term.see)


def _answer(name: str, parts: list[_Part], seed: int) -> Answer:
    first, *others = parts
    notes = [_line(part) for part in others]
    if first.example:
        notes.insert(0, f"Example: {first.example}{f'  (SI unit {first.unit})' if first.unit else ''}")
    see = list(dict.fromkeys(term for part in parts for term in part.see))
    if see:
        notes.append(f"See also: {', '.join(see)}.")
    pictures = [Lines("", first.picture)] if first.picture else []
    document = {
        "term": name,
        "explanations": [
            {"name": part.head, "text": part.text, "example": part.example or None, "unit": part.unit or None,
             "see": list(part.see)}
            for part in parts
        ],
        "stager_version": __version__, "config_sha256": None, "seed": seed,
    }  # fmt: skip
    screen = Screen(f"{first.head[:1].upper()}{first.head[1:]}", (), notes, verdict=first.text, pictures=pictures)
    return Answer(screen, document)


def _line(part: _Part) -> str:
    example = f" Example: {part.example}" if part.example else ""
    return f"{part.head[:1].upper()}{part.head[1:]}. {part.text}{example}"


def _all(keys: Mapping[str, Key], seed: int) -> Answer:
    columns = (Column("kind", words=True), Column("names", words=True, wraps=True))
    rows = (
        ("terms", ", ".join(TERMS)),
        ("limits", ", ".join(name.replace("_", " ") for name in LIMITS)),
    )
    tables = tuple(dict.fromkeys(key.partition(".")[0] for key in keys))
    more = tuple((table, ", ".join(key for key in keys if key.partition(".")[0] == table)) for table in tables)
    document = {
        "terms": list(TERMS), "limits": list(LIMITS), "keys": list(keys), "stager_version": __version__,
        "config_sha256": None, "seed": seed,
    }  # fmt: skip
    note = 'One term at a time: stager explain "grip limit", stager explain limits.length, stager explain crush.'
    return Answer(
        Screen("What can be explained", [Table("", columns, rows)], [note], more_tables=[Table("Keys", columns, more)]),
        document,
    )
