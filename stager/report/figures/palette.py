"""Colours of figures and page, by what they mean. Every hue is told apart by words or shape as well."""

from __future__ import annotations

INK, MUTED, RULE, FAINT, GROUND = "#1a2227", "#59646c", "#c9c6bd", "#e7e4db", "#fdfcf9"
MARK, CURVE, BAND = "#ad3f1a", "#1d5c8a", "#c3d6e4"
GOOD, DULL = "#2e6b4c", "#8b8374"
MOTION, SPIN, HEAT, CRUSH = "#1d5c88", "#2f8577", "#c4622d", "#8f7a5d"

VARIABLES = {
    INK: "ink", MUTED: "muted", RULE: "rule", FAINT: "faint", GROUND: "ground", MARK: "mark", CURVE: "curve",
    BAND: "band", GOOD: "good", DULL: "dull", MOTION: "motion", SPIN: "spin", HEAT: "heat", CRUSH: "crush",
}  # fmt: skip
"""Custom property of the page's style that each colour follows."""


def themed(svg: str) -> str:
    """An SVG whose colours follow the page's light and dark styles."""
    for colour, name in VARIABLES.items():
        svg = svg.replace(colour, f"var(--{name})")
    return svg
