"""A written card, as screen and document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from stager.constraints import not_judged
from stager.optimise.first_throws import FirstThrow
from stager.optimise.records import Margin, Settings
from stager.physics.motion import translation_energy
from stager.physics.muzzle import outlet_speed
from stager.report import limits
from stager.report import throw as throws
from stager.report.answer import Answer
from stager.report.card.content import Card, first_table
from stager.report.document import Source, document
from stager.report.table import Screen


def answer(
    card: Card, best: Settings, first: Sequence[FirstThrow], margin: Margin | None, path: Path, source: Source, *,
    planned: bool, refusal: str = "",
) -> Answer:  # fmt: skip
    """Return where the card is and what it says; "no" where its settings break a limit, or jam."""
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
