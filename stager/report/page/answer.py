"""The head of the page: verdict and headline numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stager.report.digits import MISSING, digits, percent, plural, speed
from stager.report.page.html import Markup, tag
from stager.report.table import Screen

TURN = 6.283185307179586


def numbers(content: Mapping[str, Any], settled: float | None) -> Markup:
    """Headline numbers of a plan as the document has it; settled: exit speed at the feed's rate [m/s]."""
    if content["stage_count"] is None:
        return Markup()
    length, power, bound = content["length_m"], content["average_power_W"], content["bound_m_s"]
    count, worth = content["stage_count"], content["recommended_stages"]
    spin = content["stages"][-1]["spin_rad_s"] / TURN if content["stages"] else 0.0
    facts = (
        ("Exit speed", f"{speed(content['outlet_speed_m_s'])} m/s"),
        ("Exit energy", f"{digits(content['exit_energy_J'])} J"),
        ("Stages" if worth == count else "Worth building", str(count) if worth == count else f"{worth} of {count}"),
        ("Length", f"{1000 * length:.0f} mm" if length else MISSING),
        ("Average power", f"{digits(power)} W" if power is not None else MISSING),
        ("Settled, at the feed's rate", f"{speed(settled)} m/s" if settled else MISSING),
        ("Spin", f"{digits(spin)} rev/s" if abs(spin) > 1e-6 else MISSING),
        ("Upper bound", f"{speed(bound)} m/s" if bound is not None else MISSING),
        ("Possible further gain", percent(content["gap_fraction"])),
    )
    known = (tag("div", tag("dt", name), tag("dd", value)) for name, value in facts if value != MISSING)
    return tag("dl", *known, class_="numbers")


def head(title: str, screen: Screen, content: Mapping[str, Any], settled: float | None) -> Markup:
    """Title, the answer in a sentence, the verdict, and the numbers behind it."""
    found = content["stage_count"] is not None
    verdict = tag("p", screen.verdict, class_="verdict") if screen.verdict else None
    return tag(
        "header",
        tag("p", "Launcher plan", tag("span", plural(content["stage_count"], "stage") if found else "no design fits"),
            class_="kicker"),
        tag("h1", title, dir="auto"), tag("p", screen.headline, class_="answer" if found else "answer no"), verdict,
        numbers(content, settled), id="verdict",
    )  # fmt: skip
