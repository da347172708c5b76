"""Contrast by the formula of WCAG 2.2: text at least 4.5 to 1 (criterion 1.4.3), graphics 3 to 1 (1.4.11)."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from stager.report.figures import palette

STYLE = (files("stager.report.page") / "templates" / "page.css").read_text(encoding="utf-8")
BLOCKS = re.findall(r":root\{([^}]*)\}", STYLE)
LIGHT, DARK = (dict(re.findall(r"--(\w+):(#\w+)", block)) for block in BLOCKS[:2])
TEXT, GRAPHICS = ("ink", "muted", "mark", "curve"), ("motion", "spin", "heat", "crush", "good")


def _luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2: black on white is 21 to 1


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_graphics_have_enough_contrast(scheme: dict[str, str]) -> None:
    grounds = [scheme["paper"], scheme["ground"]]
    assert all(_contrast(scheme[name], ground) >= 4.5 for name in TEXT for ground in grounds)
    assert _contrast(scheme["ink"], scheme["shade"]) >= 4.5
    assert all(_contrast(scheme[name], scheme["ground"]) >= 3.0 for name in GRAPHICS)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_numbers_inside_bars_have_enough_contrast(scheme: dict[str, str]) -> None:
    assert all(_contrast(scheme["ground"], scheme[name]) >= 3.0 for name in ("motion", "spin", "heat", "crush"))


def test_figures_use_the_colours_of_the_page() -> None:
    assert {name: colour for colour, name in palette.VARIABLES.items()} == {
        name: LIGHT[name] for name in palette.VARIABLES.values()
    }
