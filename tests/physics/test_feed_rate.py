"""The throwing rate is limited by what the feed delivers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stager.config import load
from stager.constraints import OperatingPoint
from stager.constraints.drives import duty
from stager.errors import InputErrors
from stager.model.launcher import Pusher
from stager.model.projectile import BALL, DISC, ROD, Projectile
from stager.model.requirements import LimitValues
from stager.physics.barrel import greatest_rate
from stager.physics.chain import throw
from stager.report import drives as report
from tests.broken.corpus import VALID
from tests.drive.machines import launcher

DISC_65 = Projectile(shape=DISC, mass=0.008, diameter=0.065)


def test_max_feed_rate_is_speed_over_length() -> None:
    # 65 mm discs at 1.5 m/s: one every 43 ms.
    assert greatest_rate(1.5, DISC_65) == pytest.approx(1.5 / 0.065)
    rod = Projectile(shape=ROD, mass=0.014, diameter=0.024, length=0.07)
    assert greatest_rate(1.0, rod) == pytest.approx(1.0 / 0.07)


@given(
    speed=st.floats(0.05, 10), width=st.floats(0.005, 0.2), travel=st.floats(0.005, 0.2), back=st.floats(0, 1),
)  # fmt: skip
def test_pusher_does_not_raise_the_feed_rate(speed: float, width: float, travel: float, back: float) -> None:
    ball = Projectile(shape=BALL, mass=0.01, diameter=width)
    pusher = Pusher(force=6.0, travel=travel, return_time=back)
    rate = float(greatest_rate(speed, ball, pusher))
    assert rate <= greatest_rate(speed, ball)
    assert rate * (travel / speed + back) <= 1 + 1e-12


@pytest.mark.parametrize("layout_rate", [10.0, 40.0])
def test_reported_max_rate_can_be_fed(layout_rate: float) -> None:
    machine = launcher(rate=2.0, feed=layout_rate * 0.038 / 10)
    point = OperatingPoint(
        launcher=machine, limit_values=LimitValues(exit_energy=8.0), throw=throw(machine, np.array([8.0]))
    )  # fmt: skip
    found = duty(point)
    assert found is not None
    content = report.summary(machine, found)
    assert content["highest_rate_1_s"] <= float(greatest_rate(machine.feed.speed, machine.projectile)) * (1 + 1e-12)
    assert content["highest_rate_by"] in ("feed", "loss")


@pytest.mark.parametrize("share, notes", [(0.5, 0), (0.7, 1)])
def test_note_appears_if_the_feed_is_nearly_saturated(share: float, notes: int) -> None:
    machine = launcher()
    most = float(greatest_rate(machine.feed.speed, machine.projectile))
    machine = replace(machine, feed=replace(machine.feed, rate=share * most))
    assert len(report.feed_notes(report.feed(machine))) == notes


def _with_feed(tmp_path: Path, lines: str) -> Path:
    path = tmp_path / "a.toml"
    path.write_text(VALID.replace("[feed]\n", f"[feed]\n{lines}", 1), encoding="utf-8")
    return path


def test_rate_above_the_feed_rate_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputErrors) as caught:
        load(_with_feed(tmp_path, 'rate = "500 /s"\n'))
    (error,) = caught.value.errors
    assert "feed.rate" in str(error)
    assert "must be at most" in str(error)
    pusher = 'rate = "5 /s"\npusher = {force = "6 N", travel = "30 mm", return_time = "0.5 s"}\n'
    with pytest.raises(InputErrors) as caught:
        load(_with_feed(tmp_path, pusher))
    assert "the pusher needs that long" in str(caught.value)
    load(_with_feed(tmp_path, pusher.replace("5 /s", "1 /s")))
