"""Reports of a choice of parts or of crush."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stager.optimise.records import Catalogue, Option, Parts
from stager.report import alternatives

PARTS = Catalogue(
    options=(
        Option(wheel="wide", drive="quick", exit_speed=20.0, stages=3, at_most=False),
        Option(wheel="small", drive="quick", exit_speed=15.0, stages=None, at_most=True),
        Option(wheel="odd", drive="quick", exit_speed=None, stages=None, at_most=False),
    ),
    chosen=(("wide", "quick"), ("wide", "quick")),
    numbers=(Parts(0, 1), Parts(0, 1)),
    one_for_all=True,
)


def test_table_gives_the_loss_of_each_alternative() -> None:
    content = alternatives.catalogue_rows(PARTS, 20.0)
    assert [option["loses_fraction"] for option in content["options"]] == [0.0, pytest.approx(0.25), None]
    assert [part["stage"] for part in content["chosen"]] == [1, 2]
    rows = alternatives.catalogue_table(content).rows
    assert [row[-3] for row in rows] == ["20.00", "up to 15.00", "does not fit"]
    assert [row[-1] for row in rows] == ["0.0", "at least 25.0", "-"]
    assert alternatives.catalogue_headline(content) == "Catalogue: wheel wide, drive quick in every stage."


@pytest.mark.parametrize(
    ("unknown", "words"),
    [
        (("burst",), "burst is not judged. With wheel small, drive quick in every stage it is judged, at 15.00 m/s."),
        (
            ("burst", "rim_safety"),
            "burst and rim safety are not judged. With wheel small, drive quick in every stage they are judged, at",
        ),
        ((), ""),
    ],
)  # fmt: skip
def test_parts_with_which_more_is_known_are_named(unknown: tuple[str, ...], words: str) -> None:
    chosen, other, odd = PARTS.options
    options = (replace(chosen, not_judged=(*unknown, "spread")), replace(other, not_judged=("spread",)), odd)
    content = alternatives.catalogue_rows(replace(PARTS, options=options, not_judged=(*unknown, "spread")), 20.0)
    notes = alternatives.unknown_notes(content)
    assert len(notes) == bool(unknown)
    assert words in "".join(notes)


def test_headline_of_different_parts_per_stage() -> None:
    mixed = replace(PARTS, chosen=(("wide", ""), ("small", "")), one_for_all=False, mixed_gain=0.0234)
    headline = alternatives.catalogue_headline(alternatives.catalogue_rows(mixed, 20.0))
    assert headline == (
        "Catalogue: stage 1 wheel wide; stage 2 wheel small, 2.3 % faster than the best of one kind. The ladder uses "
        "these parts for every stage count. Fewer stages with parts chosen for them may do better, so a stage may add "
        "less than the ladder says."
    )


def test_headline_if_no_part_fits() -> None:
    none = replace(PARTS, chosen=(), numbers=())
    assert "none of the parts" in alternatives.catalogue_headline(alternatives.catalogue_rows(none, None))


CRUSHES = Catalogue(
    options=(
        Option(wheel="as written", drive="", design={"crush": 0.006}, exit_speed=21.0, stages=2, at_most=False),
        Option(wheel="as written", drive="", design={"crush": 0.002}, exit_speed=12.5, stages=None, at_most=True),
    ),
    chosen=(("as written", ""), ("as written", "")),
    numbers=(Parts(0, 0, 0.00388), Parts(0, 0, 0.006)),
    one_for_all=False, mixed_gain=0.05, design={"crush": (0.00388, 0.006)}, asked={"crush": (0.002, 0.007)},
)  # fmt: skip


def test_headline_of_a_crush_per_stage() -> None:
    content = alternatives.catalogue_rows(CRUSHES, 22.0)
    assert [part["crush_m"] for part in content["chosen"]] == [0.00388, 0.006]
    assert [option["crush_m"] for option in content["options"]] == [0.006, 0.002]
    headline = alternatives.catalogue_headline(content)
    assert headline.startswith(
        "Crush: stage 1 3.88 mm; stage 2 6.00 mm, 5.0 % faster than the best of one for all stages."
    )
    table = alternatives.catalogue_table(content)
    assert table.columns[0].head == "crush"
    assert [row[0] for row in table.rows] == ["2.00", "6.00"]
    assert alternatives.catalogue_proviso(CRUSHES) == "That is with the crush that was chosen."


def test_headline_of_parts_and_crush() -> None:
    wide = Option(wheel="wide", drive="", design={"crush": 0.004}, exit_speed=20.0, stages=2, at_most=False)
    both = replace(CRUSHES, options=(*CRUSHES.options, wide), one_for_all=True, mixed_gain=None)
    headline = alternatives.catalogue_headline(alternatives.catalogue_rows(both, 22.0))
    assert headline == "Catalogue: wheel as written, crush 3.88 mm in every stage."
    assert alternatives.catalogue_proviso(both) == "That is with the parts and the crush that were chosen."
    assert alternatives.catalogue_proviso(PARTS) == "That is with the parts that were chosen."
