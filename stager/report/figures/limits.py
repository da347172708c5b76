"""Limits as margins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from stager.report import limits
from stager.report.digits import listing
from stager.report.figures import palette
from stager.report.figures.picture import Picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Rows = Sequence[Mapping[str, Any]]


def picture(rows: Rows, words: Sequence[str]) -> Picture | None:
    """How much of each limit is left; rows: limits as the documents have them, with a word on each. None without."""
    judged = [(row, word) for row, word in zip(rows, words, strict=True) if row["margin_fraction"] is not None]
    if not judged:
        return None
    tight = [limits.title(row["name"]) for row, word in judged if word != "kept"]
    held = f"Nothing left at: {listing(tight)}." if tight else "Every limit has margin left."
    said = ", ".join(f"{limits.title(row['name'])} {limits.room_text(row)}" for row, _ in judged)
    return Picture(
        name="limits", title="Limits, as what is left of them", alt=f"{held} Margins: {said}.",
        caption=f"Margin as a share of what is allowed; 0 % binds. {held}",
        twin=limits.table(rows, words), paint=lambda: _paint(judged),
    )  # fmt: skip


def _paint(judged: Sequence[tuple[Mapping[str, Any], str]]) -> Figure:
    from stager.report.figures.backend import axes, for_labels

    names = [limits.title(row["name"]) for row, _ in judged]
    figure, plot = axes(height=0.6 + 0.19 * len(judged), left=for_labels(names))
    lowest = 0.0
    for place, (row, word) in enumerate(judged):
        shown = min(max(100 * limits.room(row), -100.0), 100.0)
        lowest = min(lowest, shown - 2)
        plot.barh(place, shown, height=0.55, color=palette.GOOD if word == "kept" else palette.MARK)
        said = limits.room_text(row) if word == "kept" else f"{word}, {limits.room_text(row)}"
        ink = palette.INK if word == "kept" else palette.MARK
        plot.text(max(shown, 0.0) + 1.5, place, said, va="center", color=ink)
    plot.axvline(0, color=palette.INK, linewidth=1.0)
    plot.set(xlabel="margin (% of what is allowed)", yticks=range(len(judged)), xlim=(lowest, 132))
    plot.set_yticklabels(names)
    plot.set_xticks([0, 25, 50, 75, 100])
    plot.invert_yaxis()
    plot.grid(visible=False, axis="y")
    plot.tick_params(axis="y", length=0)
    return figure
