"""Results about a design: check, table of settings, sweep, plan."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, ClassVar

from stager.api.results import Shown
from stager.constraints import LimitResult, OperatingPoint
from stager.constraints.limit import over_stages
from stager.errors import InputError, NoDesign
from stager.model.arrays import Floats
from stager.optimise.parts import outfit
from stager.optimise.records import Parts, Plan, Settings
from stager.optimise.sweep import Sweep
from stager.physics.mechanics import turns_per_minute
from stager.units import QuantityError, parse

if TYPE_CHECKING:
    from stager.api.loaded import Loaded, Speeds
    from stager.constraints.recommend import Recommended
    from stager.fit.prediction import Observations, Tuned
    from stager.fit.table import Throws
    from stager.model.launcher import Launcher
    from stager.optimise.judge import Judgements
    from stager.optimise.sizing import Discharge, Sizing
    from stager.report.answer import Answer
    from stager.report.figures import Picture


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Checked(Shown):
    """Result of `Loaded.check`: a launcher at set speeds, and the verdict of every limit."""

    ROWS: ClassVar[str] = "limits"

    design: OperatingPoint
    verdicts: tuple[LimitResult, ...]
    loaded: Loaded = field(repr=False, compare=False)

    @property
    def kept(self) -> bool | None:
        """Whether it throws and keeps every limit; None where a limit is not judged and none is broken."""
        kept: bool | None = self.answer().document["kept"]
        return kept

    @property
    def exit_speed(self) -> float:
        """Exit speed behind the last wheel, 0 for a jam [m/s]."""
        return float(self.design.throw.exit_speed)

    @property
    def outlet_speed(self) -> float:
        """Speed behind the outlet, without one that behind the last wheel [m/s]."""
        return float(self.design.outlet_speed)

    @property
    def exit_energy(self) -> float:
        """Energy of the projectile's motion behind the outlet, without its spin [J]."""
        return float(self.design.exit_energy)

    def answer(self) -> Answer:
        """Return the answer of `stager check`."""
        from stager.report import check
        from stager.report.throw import note_spin_reached

        answer = check.answer(self.design, self.verdicts, self.loaded.source())
        return note_spin_reached(answer, self.loaded.scenario.goal)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SettingsResult(Shown):
    """Result of `Loaded.check_settings`: a table of settings, and the verdict on each."""

    ROWS: ClassVar[str] = "settings"

    settings: Throws
    judged: Judgements
    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """Return the answer of `stager check --settings`."""
        from stager.report.check import settings_answer

        return settings_answer(self.loaded.scenario.launcher, self.settings, self.judged, self.loaded.source())

    def csv(self) -> str:
        """Return the table as CSV, each row with exit speed, verdict, least slack and the limit it belongs to."""
        from stager.report.check import results_csv

        return results_csv(self.settings, self.judged)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SweepResult(Shown, Sweep):
    """Result of `Loaded.sweep`.

    recommended: wheel speed to set; fitted: the launcher as fitted to the throws, by which it is, None: no fit; fits:
    whether the model fits the throws, without which no speed is recommended; spread: grip limit over the
    uncertainties; measured: throws of this stage.
    """

    ROWS: ClassVar[str] = "wheel_speed_m_s"

    loaded: Loaded = field(repr=False, compare=False)
    recommended: Recommended | None = None
    spread: Tuned | None = None
    measured: Observations | None = None
    fitted: Launcher | None = None
    fits: bool = True

    @property
    def grip_limit(self) -> float | None:
        """Wheel speed beyond which more only slips [m/s]; None where exit speed still rises at the end of the range."""
        return self.grip_speed

    def answer(self) -> Answer:
        """Return the answer of `stager sweep`."""
        from stager.report import predictions
        from stager.report.throw import note_spin_left_out

        launcher, goal = self.loaded.scenario.launcher, self.loaded.scenario.goal
        source = self.loaded.source()
        answer = predictions.sweep_answer(
            launcher, self, source, self.spread, self.measured, self.recommended,
            scenario=self.loaded.scenario, fitted=self.fitted, fits=self.fits,
        )  # fmt: skip
        return note_spin_left_out(answer, goal)

    def pictures(self) -> list[Picture]:
        """Return the picture of the curve with grip limit and measured throws."""
        from stager.report.figures.of_throw import SweepCurve, sweep_picture

        near = None if self.measured is None else self.measured.drawn(self.before_a, self.before_b)
        limit = None if self.spread is None else self.spread.grip_limit
        return [sweep_picture(SweepCurve(sweep=self, grip_limit=limit, measured=near))]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class PlanResult(Shown, Plan):
    """Result of `Loaded.plan`; what is told of its best settings raises NoDesign where none fit."""

    loaded: Loaded = field(repr=False, compare=False)

    @property
    def fits(self) -> bool:
        """Whether a design keeps the limits."""
        return not self.nothing_fits

    @property
    def stages(self) -> int:
        """Number of stages."""
        return self._settings.count

    @property
    def wheel_speed(self) -> Floats:
        """Speed of side A of each stage [m/s], shape (stages,); a copy. `speeds` has side B too, where it differs."""
        return self._settings.wheel_speed.copy()

    @property
    def speeds(self) -> list[float | tuple[float, float]]:
        """Speed of each stage as `simulate` and `check` take it [m/s]: a pair where its two sides run apart for spin.

        They belong to the parts that the plan chose, where there was a choice: see `Loaded.save_plan`.
        """
        sides = zip(self._settings.wheel_speed.tolist(), self._settings.beside.tolist(), strict=True)
        return [a if a == b else (a, b) for a, b in sides]

    @property
    def rpm(self) -> Floats:
        """The same as rotational speeds [rpm], shape (stages,)."""
        best = self._settings
        launcher = best.design.launcher
        return over_stages([turns_per_minute(one, launcher.stage(k).wheel) for k, one in enumerate(best.wheel_speed)])

    @property
    def length(self) -> float:
        """Length of the launcher [m]."""
        return self._settings.length

    @property
    def limits(self) -> tuple[LimitResult, ...]:
        """Every limit that was judged, with value, bound and slack."""
        return self._settings.verdicts

    @property
    def exit_speed(self) -> float:
        """Exit speed behind the last wheel [m/s]."""
        return self._settings.exit_speed

    @property
    def outlet_speed(self) -> float:
        """Speed behind the outlet, without one that behind the last wheel [m/s]."""
        return float(self._settings.design.outlet_speed)

    @property
    def exit_energy(self) -> float:
        """Energy of the projectile's motion behind the outlet, without its spin [J]."""
        return float(self._settings.design.exit_energy)

    @property
    def _settings(self) -> Settings:
        if self.best is None or self.nothing_fits:
            reason = "no stage keeps the limits" if self.missed is None else self.missed.reason.rstrip(".")
            raise NoDesign(reason, hint="its `missed` tells which limits to loosen")
        return self.best

    def answer(self) -> Answer:
        """Return the answer of `stager plan`."""
        from stager.report import plan

        scenario = self.loaded.scenario
        return plan.answer(scenario.launcher, self, self.loaded.source(), guessed=scenario.guessed)

    def pictures(self) -> list[Picture]:
        """Return pictures of ladder, side view, speed along the barrel, margins and energy."""
        from stager.report.page.content import ReportData
        from stager.report.page.render import plan_pictures

        loaded = self.loaded
        data = ReportData(
            configuration=loaded.configuration, scenario=loaded.scenario, source=loaded.source(), plan=self
        )  # fmt: skip
        return list(plan_pictures(data))


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class MotorResult(Shown):
    """Result of `Loaded.size_motors`: motors that a rate takes, and how long a charge lasts by cells in series."""

    ROWS: ClassVar[str] = "motors"

    sizing: Sizing
    discharges: tuple[Discharge, ...]
    loaded: Loaded = field(repr=False, compare=False)

    def answer(self) -> Answer:
        """Return the answer of `stager motor`."""
        from stager.report import drives

        return drives.motor_answer(self.loaded.scenario.launcher, self.sizing, self.discharges, self.loaded.source())


def size_motors(loaded: Loaded, speeds: Speeds, rate: str | None, loss: str | None, place: str) -> MotorResult:
    """See `Loaded.size_motors`; place: where the speeds stand."""
    from stager.config.configuration import place_of
    from stager.constraints.drives import DEFAULT_LOSS
    from stager.optimise.sizing import battery_discharge, cells_of, discharge
    from stager.optimise.sizing import size_motors as size
    from stager.physics.barrel import feed_rate
    from stager.physics.chain import throw

    scenario = loaded.scenario
    launcher, asked = scenario.launcher, scenario.limit_values.settled_loss
    per_second = launcher.feed.rate if rate is None else _positive("--rate", rate, "1/s", "5 /s")
    share = (DEFAULT_LOSS if asked is None else asked) if loss is None else _share("--within", loss)
    if per_second is None:
        where = place_of(loaded.configuration, ("feed", "rate"))
        raise InputError("is missing: how many throws per second?", where=where, hint='as --rate "5 /s"')
    if launcher.supply is None:
        where, hint = place_of(loaded.configuration, ("supply",)), 'add [supply] with voltage = "14.8 V"'
        raise InputError("is missing: motors are sized for a supply", where=where, hint=hint)
    if float(per_second) > (most := float(feed_rate(launcher))):
        raise InputError(f"the feed gives {most:.3g} throws per second at most", where="--rate", hint="a faster feed")
    if bool(throw(launcher, speeds.side_a, speeds.side_b).jammed):
        raise InputError("the throw jams at these speeds", where=place, hint="stager throw says where")
    given = replace(scenario, launcher=replace(launcher, feed=replace(launcher.feed, rate=float(per_second))))
    sizing = size(given, speeds.side_a, speeds.side_b, float(per_second), float(share))
    machine = given.launcher
    if sizing.smallest is not None:
        machine = outfit(machine, [Parts(0, sizing.smallest.number)])
    own = cells_of(launcher.supply)
    batteries = launcher.supply.batteries
    found = [discharge(machine, speeds.side_a, speeds.side_b, cells=cells) for cells in range(max(own - 2, 1), own + 3)]
    if batteries:
        if all(one.mass is not None for one in batteries):
            batteries = tuple(sorted(batteries, key=lambda one: one.mass or 0.0))
        found = [discharge(machine, speeds.side_a, speeds.side_b)]
        found += [battery_discharge(machine, one, speeds.side_a, speeds.side_b) for one in batteries]
    return MotorResult(sizing=sizing, discharges=tuple(one for one in found if one is not None), loaded=loaded)


def _positive(where: str, text: str, unit: str, example: str) -> float:
    try:
        found = parse(text, unit, example).value
    except QuantityError as error:
        raise InputError(str(error), where=where, hint=error.hint) from error
    if not found > 0:
        raise InputError(f"must be above 0 (got {text})", where=where, hint=f'as "{example}"')
    return found


def _share(where: str, text: str) -> float:
    """Return a share between 0 and 1 [-], written as such or in per cent."""
    number = text.strip().removesuffix("%").rstrip()
    share = _positive(where, number, "", "2 %") / (100 if number != text.strip() else 1)
    if share < 1:
        return share
    meant = 100 * share if number != text.strip() else share
    such = f"{meant:g} % or {meant / 100:g}" if meant < 100 else "2 % or 0.02"
    raise InputError(f"must be less than 1, or 100 % (got {text})", where=where, hint=f"write {such}")
