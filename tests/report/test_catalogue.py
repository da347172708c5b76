"""What is said of a choice of parts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from stager.report import catalogue
from stager.staging.records import Catalogue, Option

CHOICE = Catalogue(
    options=(
        Option(wheel="wide", drive="quick", exit_speed=20.0, stages=3, at_most=False),
        Option(wheel="small", drive="quick", exit_speed=15.0, stages=None, at_most=True),
        Option(wheel="odd", drive="quick", exit_speed=None, stages=None, at_most=False),
    ),
    chosen=(("wide", "quick"), ("wide", "quick")),
    numbers=((0, 1), (0, 1)),
    one_for_all=True,
)


def test_how_much_the_others_lose() -> None:
    content = catalogue.summary(CHOICE, 20.0)
    assert [option["loses_fraction"] for option in content["options"]] == [0.0, pytest.approx(0.25), None]
    assert [part["stage"] for part in content["chosen"]] == [1, 2]
    rows = catalogue.table(content).rows
    assert [row[2] for row in rows] == ["20.00", "up to 15.00", "does not fit"]
    assert [row[4] for row in rows] == ["0.0", "at least 25.0", "-"]
    assert catalogue.headline(content) == "Catalogue: wheel wide, drive quick in every stage."


def test_each_stage_its_own() -> None:
    mixed = replace(CHOICE, chosen=(("wide", ""), ("small", "")), one_for_all=False, mixed_gain=0.0234)
    said = catalogue.headline(catalogue.summary(mixed, 20.0))
    assert said == "Catalogue: stage 1 wheel wide; stage 2 wheel small, 2.3 % faster than the best of one kind."


def test_where_nothing_fits() -> None:
    none = replace(CHOICE, chosen=(), numbers=())
    assert "none of the parts" in catalogue.headline(catalogue.summary(none, None))
