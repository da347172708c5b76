"""The card of a launcher, with planned settings or those set in its configuration."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from stager.errors import InputError, NoDesign

if TYPE_CHECKING:
    from stager.api.fitting import Progress
    from stager.api.loaded import Loaded
    from stager.optimise.first_throws import FirstThrow
    from stager.optimise.records import Margin, Plan, Settings
    from stager.report.card import Card

EPOCH = "SOURCE_DATE_EPOCH"
"""Environment variable with the date for repeatable files [s since 1970]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardResult:
    """A card and what it was made from.

    planned: the speeds were planned, not read from the configuration; refusal: why the settings must not be pinned up,
    "" where they may.
    """

    card: Card
    settings: Settings
    first_throws: tuple[FirstThrow, ...]
    margin: Margin | None
    planned: bool
    refusal: str = ""

    def html(self) -> str:
        """Return the sheet as an HTML document."""
        from stager.report.card import html

        return html(self.card)

    def pdf(self) -> bytes:
        """Return the sheet as a PDF document."""
        from stager.report.card import pdf

        return pdf(self.card)

    def save(self, path: str | Path, *, force: bool = False) -> None:
        """Write the card as HTML, or PDF where the name ends in .pdf. force: replace a file not written by stager.

        Raises InputError where that is not possible, or the settings must not be pinned up.
        """
        if self.refusal:
            raise InputError(self.refusal, where=str(path), hint="stager check tells what helps")
        from stager.files import write_all

        target = Path(path)
        content = self.pdf() if target.suffix.lower() == ".pdf" else self.html().encode()
        write_all({target: content}, force=force)


def make_card(
    loaded: Loaded, plan: Plan | None, seed: int, progress: Progress | None, workers: int | None
) -> CardResult:
    """Return the card of `plan`, without it of the set speeds in [[stages]], else of a plan made here.

    Raises NoDesign where no design fits.
    """
    import numpy as np

    from stager.optimise.first_throws import first_throws
    from stager.optimise.uncertainty import enough, margin_draws, margin_of
    from stager.report.card import build_card, refusal

    best, margin, planned = None, None, True
    if plan is None and has_set_speeds(loaded):
        best, planned = _as_set(loaded), False
        draws = margin_draws(loaded.scenario)
        margin = None if draws is None else margin_of(loaded.scenario, draws, best)
    else:
        found = loaded.plan(seed=seed, progress=progress, workers=workers) if plan is None else plan
        best, margin = found.best, found.margin
        if best is None or best.count == 0:
            where = str(loaded.configuration.path)
            message = "no design fits, so there is nothing to set"
            if best is not None:
                message = "no stage is needed, so there is nothing to set"
            raise NoDesign(message, where=where, hint=f"stager plan {where} tells why")
    judged = planned and best.feasible and (margin is None or enough(margin))
    throws = first_throws(loaded.scenario, best, np.random.default_rng(seed), judged=judged)
    name = loaded.configuration.path.name
    card = build_card(
        loaded.scenario, best, throws, loaded.source(seed), origin="as planned" if planned else f"as set in {name}",
        file=name, day=today(), margin=margin,
    )  # fmt: skip
    return CardResult(
        card=card, settings=best, first_throws=throws, margin=margin, planned=planned,
        refusal=refusal(best),
    )  # fmt: skip


def has_set_speeds(loaded: Loaded) -> bool:
    """Return whether every entry of [[stages]] has a speed of its own, as `plan -o` writes them."""
    stages = loaded.configuration.raw.get("stages", [])
    return bool(stages) and all("speed" in stage for stage in stages)


def today() -> str:
    """Return the date as YYYY-MM-DD, that of SOURCE_DATE_EPOCH where it is set."""
    given = os.environ.get(EPOCH, "")
    now = datetime.fromtimestamp(int(given), UTC) if given.isdigit() else datetime.now().astimezone()
    return f"{now:%Y-%m-%d}"


def _as_set(loaded: Loaded) -> Settings:
    """Return the set speeds with the verdict of every limit."""
    from dataclasses import replace

    import numpy as np

    from stager.optimise.judge import grip_limits, verdicts
    from stager.optimise.records import Settings
    from stager.physics.layout import length

    scenario, speeds = loaded.scenario, loaded.speeds()
    design = loaded.design()
    if design.grip_limit is None:
        design = replace(design, grip_limit=grip_limits(scenario.launcher, scenario.limit_values, design.throw))
    return Settings(
        wheel_speed=np.asarray(speeds.side_a, dtype=np.float64),
        wheel_speed_b=None if speeds.side_b is None else np.asarray(speeds.side_b, dtype=np.float64),
        design=design, exit_speed=float(design.throw.exit_speed), verdicts=verdicts(design),
        length=float(length(scenario.launcher, speeds.side_a.size)),
    )  # fmt: skip
