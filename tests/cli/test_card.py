"""`stager card`: one A4 page of settings as HTML and PDF."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.transforms import Affine2D
from pypdf import PdfReader

import stager as package
from stager.api import Loaded
from stager.api.documents import CardResult
from stager.errors import InputError
from stager.optimise import draws
from stager.optimise.records import Margin
from stager.physics.chain import throw
from stager.report.card import _alarm, draw, first_table
from stager.report.page.render import plan_pictures
from stager.report.page.whatif import tables
from tests.cli.run import ROOT, stager
from tests.page.browser import browser
from tests.sharing import few_draws

SEED_BALL = "configs/seed_ball.toml"
SPEEDS = (12.9, 17.4, 21.1, 24.1)
STAGES = [{"speed": f"{speed} m/s"} for speed in SPEEDS]
TWELVE_PAIRS: dict[str, object] = {
    "limits.stages": 12, "limits.length": "3 m", "limits.mass": "100 kg", "limits.cost": 9000.0,
    "limits.confidence": 0.5,
    "title": "A launcher with a long name " * 3, "stages": [{"speed": f"{12 + k}:{11 + k} m/s"} for k in range(12)],
}  # fmt: skip
A4 = (595.3, 841.9)
SCALE = 8
CARDS: dict[str, CardResult] = {}


@pytest.fixture(autouse=True)
def fixed_date(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")


def _loaded(changes: dict[str, object] | None = None, config: str = SEED_BALL) -> Loaded:
    return package.load(config, {"stages": STAGES, "limits.grip_margin": 0.0, **(changes or {})})


def _card(changes: dict[str, Any] | None = None) -> CardResult:
    """Return the card of the changed configuration, from the cache if possible."""
    key = json.dumps(changes or {}, sort_keys=True)
    if key not in CARDS:
        with few_draws():
            CARDS[key] = _loaded(changes).card()
    return CARDS[key]


def _written(folder: Path, changes: dict[str, str] | None = None) -> Path:
    """Write a configuration with set speeds, as `plan -o` does; return its path."""
    path = folder / "planned.toml"
    text = Path(SEED_BALL).read_text(encoding="utf-8")
    for old, new in (changes or {}).items():
        assert old in text
        text = text.replace(old, new)
    path.write_text(text + "".join(f'\n[[stages]]\nspeed = "{speed} m/s"\n' for speed in SPEEDS), encoding="utf-8")
    return path


def _text(content: bytes) -> str:
    (page,) = PdfReader(io.BytesIO(content)).pages
    return " ".join(page.extract_text().split())


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_card_shows_settings_limits_first_throws_cautions_and_source(kind: str, tmp_path: Path) -> None:
    config, out = _written(tmp_path), tmp_path / f"card.{kind}"
    done = stager("card", str(config), "-o", str(out), "--json")
    assert done.status == 0, done.err
    document = json.loads(done.out)
    text = _text(out.read_bytes()) if kind == "pdf" else out.read_text(encoding="utf-8")
    for speed in SPEEDS:
        assert f"{speed:.2f}" in text
        assert f"{speed / 0.04 * 60 / (2 * np.pi):.0f}" in text
    for message in ("exit energy", "tyre retention", "not judged", "First throws", "nobody ahead", "2023-11-14",
                 document["config_sha256"][:12], document["stager_version"]):  # fmt: skip
        assert message in text
    assert document["planned"] is False
    assert [stage["wheel_speed_m_s"] for stage in document["stages"]] == pytest.approx(SPEEDS)


@pytest.mark.usefixtures("few_draws")
def test_card_without_set_speeds_shows_the_planned_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    loaded = package.load(SEED_BALL, {"limits.stages": 2, "limits.length": "200 mm"})
    plan = loaded.plan(draws=0)
    assert plan.best is not None
    made = loaded.card(plan=plan)
    assert made.planned
    assert plan.best.shown is not None
    assert [row[2] for row in made.card.settings.rows] == [f"{speed:.2f}" for speed in plan.best.shown.wheel_speed[0]]
    asked = []
    monkeypatch.setattr(Loaded, "plan", lambda *given, **options: asked.append(options) or plan)
    loaded.replace({"stages": [{"speed": "13 m/s"}, {"crush": "3 mm"}]}).card()
    assert len(asked) == 1


@pytest.mark.parametrize("changes", [{}, TWELVE_PAIRS, {"stages": STAGES[:1]}], ids=["four", "twelve pairs", "one"])
def test_card_is_one_a4_page(changes: dict[str, Any], tmp_path: Path) -> None:
    made = _card(changes)
    (page,) = PdfReader(io.BytesIO(made.pdf())).pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(A4, abs=0.1)
    path = tmp_path / "card.html"
    made.save(path)
    with browser(tmp_path / "profile") as tab:
        tab.open(path, 900)
        printed = PdfReader(io.BytesIO(tab.pdf())).pages
        assert tab.console_messages() == []
        assert tab.requests() == [path.as_uri()]
    assert len(printed) == 1
    assert (float(printed[0].mediabox.width), float(printed[0].mediabox.height)) == pytest.approx(A4, abs=1.0)
    words = " ".join(printed[0].extract_text().split())
    assert made.card.stamp[:10] in words
    assert made.card.cautions[0] in words


@pytest.mark.parametrize("changes", [{}, TWELVE_PAIRS], ids=["four", "twelve pairs"])
def test_card_text_stays_within_margins_without_overlap(changes: dict[str, Any]) -> None:
    figure = draw(_card(changes).card)
    # High resolution: at 72 dpi glyph positions are rounded to whole pixels, which widens the text.
    figure.set_dpi(72 * SCALE)
    small = Affine2D().scale(1 / SCALE)
    renderer = FigureCanvasAgg(figure).get_renderer()
    texts = [text for text in figure.axes[0].texts if text.get_text().strip()]
    boxes = [text.get_window_extent(renderer).transformed(small) for text in texts]
    assert len(boxes) > 80
    assert min(min(box.x0, box.y0) for box in boxes) > 28
    assert max(box.x1 for box in boxes) < A4[0] - 28
    assert max(box.y1 for box in boxes) < A4[1] - 28
    overlapping = [
        (a, b) for i, a in enumerate(boxes) for b in boxes[:i]
        if min(a.x1, b.x1) - max(a.x0, b.x0) > 0.5 and min(a.y1, b.y1) - max(a.y0, b.y0) > 0.4 * min(a.height, b.height)
    ]  # fmt: skip
    assert overlapping == []


def test_first_throws_rise_to_the_settings_with_expected_speeds() -> None:
    loaded, made = _loaded(), _card()
    shares = [one.share for one in made.first_throws]
    assert shares == sorted(shares)
    assert shares[0] <= 0.65
    assert shares[-1] == 1.0
    for one in made.first_throws:
        assert one.wheel_speed == pytest.approx(one.share * np.array(SPEEDS))
        thrown = throw(loaded.scenario.launcher, one.wheel_speed)
        assert one.exit_speed == pytest.approx(float(thrown.exit_speed), rel=1e-4)
        assert one.low is not None
        assert one.high is not None
        assert one.low <= one.exit_speed * 1.001
        assert one.low < one.high


@pytest.mark.parametrize("energy", [2.0, 3.5, 5.0])
def test_first_throws_keep_hard_limits_in_95_percent_of_builds(energy: float) -> None:
    loaded = _loaded({"limits.exit_energy": f"{energy} J"})
    made = loaded.card()
    top = made.first_throws[-1]
    assert top.share < 1.0
    drawn = draws.draw(loaded.scenario, 2000, np.random.default_rng(99)).launcher
    done = throw(drawn, np.broadcast_to(top.wheel_speed, (2001, len(SPEEDS))))
    kept = 0.5 * np.asarray(drawn.projectile.mass) * done.exit_speed**2 <= energy
    assert kept[1:].mean() >= 0.95
    assert "Stop at" in made.card.first_note


@pytest.mark.usefixtures("few_draws")
def test_no_first_throws_if_many_builds_jam() -> None:
    made = _loaded({"contact.friction.static": "0.11 ± 0.05", "contact.friction.sliding": "0.1"}).card()
    assert made.first_throws == ()
    assert made.card.first is None
    assert made.card.first_note.startswith("No first throws")


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('exit_energy = "8 J"', 'exit_energy = "3 J"', "break exit energy"),
        ('static = "0.75 ± 0.08"', "static = 0.02", "jams"),
    ],
)
def test_settings_that_break_a_hard_limit_or_jam_give_no_card(old: str, new: str, message: str, tmp_path: Path) -> None:
    changes = {old: new, 'sliding = "0.22 ± 0.04"': "sliding = 0.01"} if "static" in old else {old: new}
    config, out = _written(tmp_path, changes), tmp_path / "card.html"
    done = stager("card", str(config), "-o", str(out))
    assert done.status == 1
    assert message in done.out
    assert not out.exists()
    with pytest.raises(InputError, match=message):
        package.load(config).card().save(out)


@pytest.mark.usefixtures("few_draws")
def test_card_without_a_stage_to_build_answers_no(tmp_path: Path) -> None:
    config, out = ROOT / "configs" / "seed_ball.toml", tmp_path / "card.html"
    slippery = ("contact.friction.static=0.03", "contact.friction.sliding=0.02")
    given = ("card", str(config), "-o", str(out), *(word for change in slippery for word in ("--set", change)))
    done = stager(*given)
    assert (done.status, done.err) == (1, "")
    assert "nothing to set" in done.out
    assert not out.exists()
    again = stager(*given, "--json")
    assert (again.status, again.err) == (1, "")
    document = json.loads(again.out)
    assert document["card"] is None
    assert set(document) >= set(json.loads(stager("card", str(_written(tmp_path, {})), "-o", str(out), "--json").out))


def test_card_warns_of_broken_limits_and_their_probability() -> None:
    card = _loaded({"limits.grip_margin": 0.2, "limits.exit_energy": "5.5 J"}).card().card
    assert "break grip margin" in card.alarm
    assert "of 100 builds" in card.alarm
    assert _card().card.alarm == ""


def test_share_of_builds_that_is_too_small_reads_so() -> None:
    loaded = _loaded({})
    margin = Margin(
        confidence=0.95, kept=0.948, draws=1000, jams=0.0, stays=0.0, mean_exit=9.0, at_confidence={}, reserve={}
    )
    assert "Only 94 of 100 builds" in _alarm(loaded.scenario, [], margin)


@pytest.mark.usefixtures("few_draws")
def test_equal_input_gives_equal_bytes() -> None:
    first, second = _card(), _loaded().card()
    assert first.html() == second.html()
    assert first.pdf() == second.pdf()


@pytest.mark.usefixtures("few_draws")
@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("title", ['<b>&"q"\' $x^2$ \\alpha 推进器 🚀 \u202eabc', "w" * 400])
def test_title_is_escaped(title: str) -> None:
    made = _loaded({"title": title, "stages": STAGES[:1]}).card()
    html = made.html()
    assert "<b>" not in html
    assert "\u202e" not in html
    assert len(PdfReader(io.BytesIO(made.pdf())).pages) == 1


def test_unsupported_file_type_is_an_input_error(tmp_path: Path) -> None:
    done = stager("card", SEED_BALL, "-o", str(tmp_path / "card.png"))
    assert done.status == 2
    assert "card.pdf" in done.err


@pytest.mark.usefixtures("few_draws")
def test_card_is_overwritten_but_a_user_file_is_not(tmp_path: Path) -> None:
    config, out = _written(tmp_path), tmp_path / "card.html"
    for _ in range(2):
        assert stager("card", str(config), "-o", str(out)).status == 0
    out.write_text("mine", encoding="utf-8")
    assert stager("card", str(config), "-o", str(out)).status == 2
    assert out.read_text(encoding="utf-8") == "mine"


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("changes", [{"measuring.wheel_speed": 0.97}, {"goal.spin": "20 rev/s", "limits.stages": 1}])
def test_settings_last_first_throw_drawing_and_slider_have_the_same_rpm(changes: dict[str, Any]) -> None:
    # Rounded to the nearest where that breaks no limit, else down; other places rounded by themselves.
    loaded = _loaded({"stages": [], "limits.stages": 2, "limits.grip_margin": 0.05, **changes})
    plan = loaded.plan(draws=0)
    best = plan.best
    assert best is not None
    assert best.shown is not None
    turns = [f"{a:.0f}" if a == b else f"{a:.0f}:{b:.0f}" for a, b in best.shown.indicated_rpm.T]
    card = loaded.card(plan=plan)
    column = [one.head for one in card.card.settings.columns].index("wheel", 2)
    assert [row[column] for row in card.card.settings.rows] == [each for turn in turns for each in turn.split(":")]
    assert card.first_throws[-1].share == 1.0
    assert first_table(best, card.first_throws).rows[-1][1] == " / ".join(turns)
    data = loaded.report(plan=plan).data
    drawn = next(one for one in plan_pictures(data) if one.name == "launcher").drawn
    assert drawn is not None
    for turn in turns:
        assert f">{turn.split(':')[0]} rpm<" in drawn()
    assert data.response is not None
    wheels = tables(data.response, data).content["controls"]["wheels"]
    assert [one["set"] for one in wheels] == [turn.split(":")[0] for turn in turns]


def test_set_speeds_are_rounded_so_that_they_keep_the_limits() -> None:
    # 12 m/s at a radius of 40 mm are 2864.8 rpm, which is rounded up where no limit ends between.
    exit_speed = _loaded({"stages": []}).check(12.0).exit_speed
    for most, shown in ((exit_speed + 1.0, "2865"), (exit_speed * (1 + 1e-7), "2864")):
        made = _card({"stages": [{"speed": "12 m/s"}], "limits.exit_speed": f"{most:.12g} m/s"})
        column = [one.head for one in made.card.settings.columns].index("wheel", 2)
        assert made.card.settings.rows[0][column] == shown
