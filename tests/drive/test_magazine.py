"""How long a magazine lasts: at the feed's rate, with one charge; on each screen that tells the rate."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from stager import api
from stager.api.results import Shown
from stager.errors import InputError, InputErrors
from stager.report import drives
from tests.broken.corpus import VALID

pytestmark = pytest.mark.usefixtures("few_draws")


def _loaded(
    tmp_path: Path, *, magazine: object = 40, rate: str = 'rate = "2 /s"', capacity: str = "2.2 Ah"
) -> api.Loaded:  # fmt: skip
    text = VALID.replace("[feed]", f"[feed]\nmagazine = {magazine}\n{rate}")
    text = text.replace("[stage]", '[stage]\nspeed = "12 m/s"', 1).replace(
        "[supply]", f'[supply]\ncapacity = "{capacity}"'
    )
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    return api.load(path)


def _notes(result: Shown) -> list[str]:
    screen = result.answer().screen
    assert screen is not None
    return [*screen.all_notes(full=True)]


def test_time_to_empty_is_count_over_rate(tmp_path: Path) -> None:
    loaded = _loaded(tmp_path)
    checked = loaded.check()
    feed: Any = checked.document()["feed"]
    assert (feed["magazine"], feed["empty_s"]) == (40, pytest.approx(20.0))
    settled = checked.design.settled
    assert settled is not None
    assert settled.throws_per_charge is not None
    assert feed["magazines_per_charge"] == pytest.approx(float(settled.throws_per_charge) / 40)
    said = " ".join(_notes(checked))
    assert "The magazine of 40 is empty after 20.0 s at 2.00 throws a second; a charge throws it about" in said


def test_charge_that_ends_before_the_magazine_is_said(tmp_path: Path) -> None:
    said = " ".join(_notes(_loaded(tmp_path, magazine=5000, capacity="20 mAh").check()))
    assert "The magazine of 5000 is empty after 41.7 min at 2.00 throws a second, but a charge ends after" in said


def test_without_a_rate_nothing_is_promised(tmp_path: Path) -> None:
    checked = _loaded(tmp_path, rate="").check()
    feed: Any = checked.document()["feed"]
    assert (feed["empty_s"], feed["magazines_per_charge"]) == (None, None)
    assert "How long the magazine lasts: set feed.rate." in _notes(checked)


def test_motor_counts_magazines_of_a_charge(tmp_path: Path) -> None:
    result = _loaded(tmp_path).size_motors(loss="50 %")
    content: Any = result.document()
    assert (content["magazine"], content["empty_s"]) == (40, pytest.approx(20.0))
    for row, found in zip(content["charge"], result.discharges, strict=True):
        assert row["magazines"] == pytest.approx(found.throws / 40)
    assert "The magazine of 40 is empty after 20.0 s." in _notes(result)


@pytest.mark.parametrize("text", ["2", "1", "1.0", "40", "100 %", "150 %", "200"])
def test_share_of_one_or_more_is_refused_with_what_was_meant(text: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="must be less than 1, or 100 %") as caught:
        _loaded(tmp_path).size_motors(loss=text)
    hint = str(caught.value.hint)
    number = float(text.removesuffix("%"))
    meant = number if number < 100 and "%" not in text else 2
    assert hint == f"write {meant:g} % or {meant / 100:g}"
    assert _loaded(tmp_path).size_motors(loss=hint.split()[1] + " %").sizing.loss == pytest.approx(meant / 100)


def test_charge_names_its_drive_and_losses_agree(tmp_path: Path) -> None:
    for within in ("50 %", "0.001 %"):
        screen = _loaded(tmp_path).size_motors(loss=within).answer().screen
        assert screen is not None
        tables = {table.title: table for table in screen.tables}
        assert "One charge, by number of cells in series, with the drive as written" in tables
        offered = next(table for title, table in tables.items() if title.startswith("Drives"))
        heads = [column.head for column in offered.columns]
        row = dict(zip(heads, offered.rows[0], strict=True))
        assert row["verdict"] in {"enough", f"it loses {row['lost']}"}


def test_motor_compares_batteries_of_a_list(tmp_path: Path) -> None:
    packs = tmp_path / "packs.csv"
    heads = "name,cells,capacity [Ah],resistance [mohm],mass [g]"
    text = f"{heads}\nlarge,4,3.0,20,300\nweak,1,3.0,20,70\nsmall,4,1.0,40,110\n"
    packs.write_text(text, encoding="utf-8")
    loaded = _loaded(tmp_path).replace({"supply.battery_list": "packs.csv"})
    content: Any = loaded.size_motors(loss="50 %").document()
    assert [(row["battery"], row["cells"]) for row in content["charge"]] == [
        (None, 4), ("weak", 1), ("small", 4), ("large", 4),
    ]  # fmt: skip
    throws = {row["battery"]: row["throws"] for row in content["charge"]}
    assert 0 < throws["weak"] < throws["large"] / 2
    assert throws["large"] / throws["small"] == pytest.approx(3.0, rel=0.05)
    own = loaded.replace({"supply.capacity": "1.0 Ah", "supply.resistance": "40 mohm", "supply.cells": 4})
    known: Any = own.size_motors(loss="50 %").document()["charge"]
    assert throws["small"] == pytest.approx(known[0]["throws"])
    packs.write_text(text.replace("weak,1", "weak,0"), encoding="utf-8")
    with pytest.raises(InputErrors, match=r"packs.csv:3: cells: must be at least 1"):
        loaded.replace({"limits.stages": 2})


def test_plan_page_and_card_say_how_long_the_magazine_lasts(tmp_path: Path) -> None:
    loaded = _loaded(tmp_path).replace({"limits.stages": 1})
    plan = loaded.plan(draws=0)
    feed: Any = plan.document()["feed"]
    assert feed["empty_s"] == pytest.approx(20.0)
    sentence = drives.feed_notes(feed)[0]
    assert sentence in _notes(plan)
    assert sentence in loaded.report(plan=plan).html()
    assert "magazine of 40" in loaded.card(plan=plan).html()


@pytest.mark.parametrize("count", ["0", "-3", "2.5", '"40"', "true", "1000001"])
def test_magazine_is_a_count(count: str, tmp_path: Path) -> None:
    with pytest.raises(InputErrors, match=r"a.toml:\d+: feed.magazine: "):
        _loaded(tmp_path, magazine=count)
