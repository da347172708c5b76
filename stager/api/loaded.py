"""A loaded configuration; wheel speeds as people write them: m/s, rpm, A:B."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from stager.errors import InputError
from stager.model.arrays import MAX_STAGES, MAX_SURFACE_SPEED

if TYPE_CHECKING:
    from stager.api.design_results import Checked, MotorResult, PlanResult, SettingsResult, SweepResult
    from stager.api.documents import CardResult, Report
    from stager.api.fitting import CompareResult, FitResult, NextResult, Progress
    from stager.api.results import ThrowResult
    from stager.config import Configuration
    from stager.constraints import OperatingPoint
    from stager.fit.experiment_design import Next
    from stager.fit.posterior import Fit
    from stager.fit.table import Throws
    from stager.model.arrays import Floats
    from stager.model.launcher import Launcher, Scenario
    from stager.model.stage import Stage
    from stager.optimise.draws import Flown
    from stager.optimise.records import Plan
    from stager.physics.records import Throw
    from stager.report.answer import Provenance

    Table = Throws | str | Path

Speed = float | str | tuple[float | str, float | str]
_NUMBER = re.compile(r"^\s*[+-]?[\d.]+(?:[eE][+-]?\d+)?")
HINT = 'give one speed a stage: 12 is in m/s, else with its unit, as "9000 rpm"; 12:9 for the two wheels of a pair'
UNSET = (
    'give one --speed a stage, as in --speed 12 --speed 17 (also "9000 rpm", or 12:9 for the two wheels of a pair),'
    ' or set speed = "12 m/s" in [stage]'
)


@dataclass(frozen=True, slots=True)
class Speeds:
    """Surface speeds of side A and B [m/s], shape (stages,); side_b is None where no pair runs two speeds."""

    side_a: Floats
    side_b: Floats | None

    @property
    def pairs(self) -> list[tuple[float, float]]:
        """Side A and B of each stage [m/s]."""
        side_b = self.side_a if self.side_b is None else self.side_b
        return list(zip(self.side_a.tolist(), side_b.tolist(), strict=True))


def set_speeds(
    launcher: Launcher, given: Sequence[Speed], place: Callable[[int], str] = lambda stage: "speed"
) -> Speeds:
    """Return the given speeds, or the launcher's set speeds where none are given.

    place: returns the key of the set speed of a stage (from 0). Raises InputError for a speed that cannot be read, is
    beyond any wheel, or is missing.
    """
    if len(given) > MAX_STAGES:
        raise InputError(f"{len(given)} speeds, for at most {MAX_STAGES} stages", where="speed", hint=HINT)
    stages = [launcher.stage(k) for k in range(len(given) or max(1, len(launcher.stages)))]
    pairs = [_given(stages[k], given[k], k) if given else _configured(stages[k], k, place) for k in range(len(stages))]
    for k, sides in enumerate(pairs):
        if (fastest := max(side for side in sides if side is not None)) > MAX_SURFACE_SPEED:
            raise _too_fast(fastest, k, "speed" if given else place(k))
    side_a = np.array([a for a, _ in pairs])
    split = any(b is not None and b != a for a, b in pairs)
    return Speeds(side_a, np.array([a if b is None else b for a, b in pairs]) if split else None)


def _too_fast(fastest: float, k: int, where: str) -> InputError:
    set_to = f"stage {k + 1} is set to {fastest:.4g} m/s"
    message = f"no wheel holds together at more than {MAX_SURFACE_SPEED:g} m/s ({set_to})"
    return InputError(message, where=where, hint=HINT)


def too_many(count: int, stage: int) -> InputError:
    """Return the error for more speeds than there are stages before stage `stage` (from 1), which is swept."""
    fewer = "give none" if stage == 1 else "give " + " ".join(f"--speed {12 + 5 * k}" for k in range(stage - 1))
    before = "no stage" if stage == 1 else "1 stage" if stage == 2 else f"{stage - 1} stages"
    message = f"{count} {'speed' if count == 1 else 'speeds'} for {before} before stage {stage}, whose speed is swept"
    return InputError(message, where="speed", hint=f"{fewer}, or name the stage to sweep: --stage {count + 1}")


def _configured(stage: Stage, k: int, place: Callable[[int], str]) -> tuple[float, float | None]:
    if stage.speed is None:
        raise InputError(f"is missing: stage {k + 1} has no set speed", where=place(k), hint=UNSET)
    return float(stage.speed), None if stage.speed_b is None else float(stage.speed_b)


def _given(stage: Stage, speed: Speed, k: int) -> tuple[float, float | None]:
    parts = list(speed) if isinstance(speed, tuple) else str(speed).split(":")
    if len(parts) == 1:
        return _surface(stage, parts[0]), None
    if len(parts) > 2:
        raise InputError(f"a stage has two wheels at most (got {speed})", where="speed", hint=HINT)
    if not stage.layout.side_b_driven:
        raise InputError(
            f'stage {k + 1} has one driven wheel, as its layout is "{stage.layout.name}" (got {speed})',
            where="speed", hint=HINT,
        )  # fmt: skip
    unit = _unit(parts[1])
    if unit and not _unit(parts[0]):
        parts[0] = f"{parts[0]} {unit}"
    return _surface(stage, parts[0]), _surface(stage, parts[1])


def _unit(part: float | str) -> str:
    return _NUMBER.sub("", str(part)).strip()


def _surface(stage: Stage, part: float | str) -> float:
    """Return a surface speed [m/s] from a number, or from text with a unit of speed or of rotation."""
    try:
        value = float(part)
    except ValueError:
        value = _with_unit(stage, str(part))
    if not (math.isfinite(value) and value >= 0):
        raise InputError(f"must be 0 m/s or more (got {part})", where="speed", hint=HINT)
    return value


def _with_unit(stage: Stage, text: str) -> float:
    from stager.units import QuantityError, parse

    try:
        return parse(text, "rad/s", "9000 rpm").value * float(stage.wheel.radius)
    except QuantityError:
        try:
            return parse(text, "m/s", "12 m/s").value
        except QuantityError as error:
            raise InputError(str(error), where="speed", hint=HINT) from error


LEAST_DRAWS = 20
"""Fewer draws give no interval."""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Loaded:
    """A configuration file, read and checked; its methods are the commands of the command line.

    configuration: the file's content; scenario: launcher, limits and goal that it describes; sha256: of the file's
    bytes.
    """

    configuration: Configuration
    scenario: Scenario
    sha256: str

    @property
    def files(self) -> list[Path]:
        """The files that were read: the configuration, its draws and its lists of parts."""
        path, draws = self.configuration.path, self.configuration.file.draws
        names = [*self.configuration.lists, *([] if draws is None else [draws])]
        return [path, *(path.parent / name for name in names)]

    @property
    def misfit(self) -> str:
        """What speaks against the model in the throws that the file was fitted to; "" where nothing does."""
        return self.configuration.file.misfit

    def __repr__(self) -> str:
        return f"<Loaded: {self.configuration.file.title}>"

    def _repr_html_(self) -> str:
        from stager.report import terminal
        from stager.report.answer import Screen
        from stager.report.page.render import inputs

        return terminal.html_text(Screen(self.configuration.file.title, inputs(self.configuration)))

    def source(self, seed: int = 0) -> Provenance:
        """Return hash and seed, as documents state them."""
        from stager.report.answer import Provenance

        return Provenance(config_sha256=self.sha256, seed=seed, misfit=self.misfit)

    def replace(self, values: Mapping[str, object]) -> Loaded:
        """Return the same launcher with other values by dotted key, written as in a file; nothing is saved.

        `replace({"limits.stages": 2, "stage.crush": "3 mm"})`. Raises InputErrors with all that is wrong with them.

        >>> launcher.replace({"limits.stages": 2}).plan(draws=0).stages
        2
        """
        from stager import config

        return _loaded(config.with_values(self.configuration, values))

    def speeds(self, *given: Speed) -> Speeds:
        """Return the wheel speeds of a throw, one argument a stage; without arguments the configuration's set speeds.

        A number is a surface speed [m/s], text may carry a unit ("9000 rpm"), "12:9" or (12, 9) sets the wheels of a
        pair apart ("9000:8000 rpm": one unit for both). Raises InputError.

        >>> launcher.speeds("3000 rpm", "16 m/s").side_a.round(2)
        array([12.57, 16.  ])
        """
        return set_speeds(self.scenario.launcher, given, self._speed_place)

    def _speed_place(self, stage: int) -> str:
        from stager.config.configuration import speed_of

        return speed_of(self.configuration, stage)

    def simulate(self, *speeds: Speed) -> ThrowResult:
        """Simulate one throw; `speeds` as in `Loaded.speeds`. The record's fields have one axis, the stage.

        >>> f"{launcher.simulate(12, 16).exit_speed:.2f} m/s"
        '16.01 m/s'
        """
        from stager.api.results import ThrowResult, shown
        from stager.physics import chain

        chosen = self.speeds(*speeds)
        done = chain.throw(self.scenario.launcher, chosen.side_a, chosen.side_b)
        # Plain numbers rather than arrays without axes, so that they can be rounded.
        return shown(ThrowResult, replace(done, exit_speed=done.exit_speed[()], spin=done.spin[()]), loaded=self)

    def flown(self, throw: Throw, *, seed: int = 0, draws: int = 200) -> Flown | None:
        """Return where a throw lands, over possible builds and from shot to shot.

        None where the configuration has neither [flight] nor spreads.

        >>> launcher.flown(launcher.simulate(12)) is None
        True
        """
        import numpy as np

        from stager.optimise.draws import flown

        return flown(self.scenario, self.scenario.launcher, throw, np.random.default_rng(seed), draws)

    def check(self, *speeds: Speed) -> Checked:
        """Check one throw against every limit that is set; `speeds` as in `Loaded.speeds`.

        Each verdict says which change would help most.

        >>> round(launcher.check(12).exit_energy, 2)
        1.14
        """
        from stager.api.design_results import Checked
        from stager.constraints import evaluate_limits

        design = self.design(*speeds)
        return Checked(design=design, verdicts=tuple(evaluate_limits(design, remedies=True)), loaded=self)

    def check_settings(self, path: str | Path) -> SettingsResult:
        """Check a table of settings against every limit that is set; columns as in a table of throws.

        Raises
        ------
        InputErrors
            With all that is wrong with the table, by line and column.

        Examples
        --------
        >>> judged = launcher.check_settings("configs/seed_ball_throws.csv").judged
        >>> int((judged.slack >= 0).sum()), len(judged.slack)
        (18, 36)
        """
        import numpy as np

        from stager.api.design_results import SettingsResult
        from stager.fit.table import read_settings
        from stager.optimise.judge import Judgements, judge_settings

        launcher = self.scenario.launcher
        settings = read_settings(Path(path), launcher)
        counts = settings.present.sum(axis=-1)
        parts, order = [], []
        for count in np.unique(counts):
            rows = np.flatnonzero(counts == count)
            some = settings.chosen(rows)
            stages = range(int(count))
            side_b = some.surface_speed(launcher, stages, 1) if some.splits else None
            parts.append(judge_settings(self.scenario, some.surface_speed(launcher, stages, 0), side_b))
            order.append(rows)
        as_in_table = np.argsort(np.concatenate(order))
        judged = Judgements(**{
            name: np.concatenate([getattr(part, name) for part in parts])[as_in_table] for name in Judgements.__slots__
        })  # fmt: skip
        return SettingsResult(settings=settings, judged=judged, loaded=self)

    def size_motors(self, *speeds: Speed, rate: str | None = None, loss: str | None = None) -> MotorResult:
        """Find the motors that throwing at a rate takes, and how long a charge lasts; `speeds` as in `Loaded.speeds`.

        Parameters
        ----------
        rate : str, optional
            Throws per second with its unit, "5 /s"; by default the feed's.
        loss : str, optional
            Greatest loss of exit speed at that rate, "2 %"; by default limits.settled_loss, or 5 %.

        Raises
        ------
        InputError
            Without a rate or a supply, and where the throw jams.

        Examples
        --------
        >>> launcher.size_motors(12, rate="3 /s").sizing.smallest is not None
        True
        """
        from stager.api.design_results import size_motors

        return size_motors(self, self.speeds(*speeds), rate, loss, "--speed" if speeds else self._speed_place(0))

    def design(self, *speeds: Speed) -> OperatingPoint:
        """Return the operating point that limits are evaluated at; `speeds` as in `Loaded.speeds`.

        >>> launcher.design(12).grip_limit.round(1)
        array([13.7])
        """
        from stager.optimise.grip_limits import operating_point

        throw = self.simulate(*speeds)
        scenario = self.scenario
        launcher, limit_values = scenario.launcher, scenario.limit_values
        return operating_point(launcher, limit_values, throw)

    def sweep(self, stage: int = 1, *before: Speed, throws: Table | None = None, seed: int = 0) -> SweepResult:
        """Return exit speed against the wheel speed of a stage, and its grip limit with a coverage interval.

        Parameters
        ----------
        stage : int
            Number of the stage, from 1.
        before : speeds as in `Loaded.speeds`
            Of the stages before it; left out: their set speeds, else their grip limits less grip_margin.
        throws : Throws or path, optional
            Those that ended with this stage are compared with the model; a fit to all gives the recommended speed.
        seed : int
            Of the fit to `throws`.

        Raises
        ------
        InputError
            For a stage beyond limits.stages, a stage without throws, or speeds of stages that are not before it.

        Examples
        --------
        >>> round(launcher.sweep(1).grip_limit, 1)
        13.7
        """
        from stager.api import fitting
        from stager.api.design_results import SweepResult
        from stager.api.results import shown
        from stager.fit.prediction import known_of, observations, recommended
        from stager.optimise.sweep import sweep

        most = max(self.scenario.limit_values.stages, len(self.scenario.launcher.stages))
        if not 1 <= stage <= most:
            raise InputError(
                f"must be 1 to {most}, as limits.stages allows (got {stage})", where="stage",
                hint="the stage next to the feed is 1; limits.stages says how many there may be",
            )  # fmt: skip
        if len(before) >= stage:
            raise too_many(len(before), stage)
        table = None if throws is None else self._table(throws)
        if table is not None:
            fitting.check_stage(table, stage)
        given = self.speeds(*before).pairs if before else []
        found = sweep(self.scenario, stage - 1, given)
        done = fitting.fit_for_sweep(self.scenario, table, seed)
        scatter = None if done is None else done.scatter
        measured = None if table is None else observations(self.scenario, table, stage - 1, scatter)
        fits = done is None or done.adequate
        advice = recommended(known_of(done or self.scenario), found.before_a, found.before_b)
        spread, chosen = fitting.spread(self.scenario, found, advice), advice if fits else None
        return shown(
            SweepResult, found, loaded=self, spread=spread, measured=measured, recommended=chosen,
            fitted=None if done is None else done.launcher, fits=fits,
        )  # fmt: skip

    def plan(
        self, *, seed: int = 0, progress: Progress | None = None, workers: int | None = 1, dask: str | None = None,
        tls: tuple[Path, Path, Path] | None = None, resume: str | Path | None = None, trade: str | None = None,
        robust: bool = False, draws: int = 400, seconds: float | None = None,
    ) -> PlanResult:  # fmt: skip
        """Search for the best number of stages and the speed of each, and find what one more would add.

        Parameters
        ----------
        seed : int
            Of all random draws.
        progress : function of float, optional
            Called with the share that is done.
        workers : int or None
            Threads that share the work, at most one a core; None: two. The answer does not depend on it.
        dask : str, optional
            Address of the scheduler of a cluster to work on. It is trusted: what it sends back can run code here.
        tls : (Path, Path, Path), optional
            For dask: certificate of its authority, own certificate, own key.
        resume : path, optional
            File where finished parts are kept and looked for.
        trade : str, optional
            "power", "length", "heat", "cost" or "mass": also return the Pareto front of exit speed against it.
        robust : bool
            Also return settings for a low quantile of exit speed over the uncertainties.
        draws : int
            Launchers drawn for the ladder's intervals and chances; 0: none, else 20 to 100 000.
        seconds : float, optional
            Time after which the best so far is returned [s]; its `left_open` says what was not done.

        Raises
        ------
        InputError
            For an option out of its range.
        Interrupted
            On Ctrl-C, saying what `resume` holds.

        Examples
        --------
        >>> round(launcher.plan(draws=0).exit_speed, 1)
        24.5
        """
        import numpy as np

        from stager.api.design_results import PlanResult
        from stager.api.results import shown
        from stager.config.configuration import place_of
        from stager.errors import Interrupted
        from stager.model.arrays import MAX_DRAWS
        from stager.optimise.draws import flown
        from stager.optimise.pareto import Against
        from stager.optimise.parts import with_parts
        from stager.optimise.planner import plan
        from stager.parallel import open_executor

        if draws and not LEAST_DRAWS <= draws <= MAX_DRAWS:
            few = f"{draws} are too few for an interval" if draws < LEAST_DRAWS else f"{draws} are more than any need"
            raise InputError(few, where="--draws", hint=f"0 for none, or {LEAST_DRAWS} to {MAX_DRAWS}")
        known = [one.value for one in Against]
        if trade is not None and trade not in known:
            raise InputError(f'"{trade}" is nothing to trade for', where="--trade", hint=f"one of {', '.join(known)}")
        tell, against = progress or (lambda share: None), None if trade is None else Against(trade)
        with open_executor(workers, dask, None if resume is None else Path(resume), tls=tls) as executor:
            tell(0.0)
            try:
                rng = np.random.default_rng(seed)
                found = plan(
                    self.scenario,
                    rng=rng,
                    progress=tell,
                    executor=executor,
                    trade=against,
                    sturdy=robust,
                    draws=draws,
                    seconds=seconds,
                )
            except InputError as error:
                # The search knows a key, not its line.
                if error.where != "goal.spin":
                    raise
                where = place_of(self.configuration, ("goal", "spin"))
                raise InputError(error.message, where=where, hint=error.hint) from error
            except KeyboardInterrupt as stop:
                if executor.cache is None:
                    raise
                message = (
                    f"interrupted; {len(executor.cache)} finished parts are kept in {resume}: the same command goes on"
                )
                raise Interrupted(message) from stop
        if found.best is not None and found.best.count:
            # Builds have the parts that were chosen.
            built = with_parts(self.scenario, found.catalogue.numbers) if found.catalogue else self.scenario
            landed = flown(built, found.best.design.launcher, found.best.throw, np.random.default_rng(seed), draws)
            found = replace(found, flown=landed)
        return shown(PlanResult, found, loaded=self)

    def save_plan(self, plan: Plan, path: str | Path, *, force: bool = False) -> None:
        """Write the configuration to `path` with the planned speeds as set speeds and the chosen parts.

        The file appears whole or not at all. force: replace one that this program did not write. Raises InputError
        without a design, and where it cannot be written.
        """
        from stager import config

        if plan.best is None:
            raise InputError("no design fits, so there is nothing to write", where=str(path))
        sides = zip(plan.best.wheel_speed, plan.best.beside, strict=True)
        speeds = [f"{a:.10g} m/s" if a == b else f"{a:.10g}:{b:.10g} m/s" for a, b in sides]
        drop = [] if plan.catalogue is None or not plan.catalogue.design else config.ranges(self.configuration)
        config.save(self.configuration, Path(path), self._parts(plan), speeds, drop=drop, force=force)

    def _parts(self, plan: Plan) -> dict[str, str]:
        """Return parts and design variables of each planned stage by key, where there was a choice."""
        from stager import config
        from stager.optimise.parts import option_keys
        from stager.physics.parts import with_variables

        catalogue, found = plan.catalogue, {}
        for k, parts in enumerate(() if catalogue is None else catalogue.numbers):
            stage = self.scenario.launcher.stage(k)
            for name, value in option_keys(stage, parts).items():
                found[f"stages.{k + 1}.{name}"] = config.show_value(value)
        if catalogue is not None and catalogue.design:
            numbered = enumerate(catalogue.numbers)
            stages = [with_variables(self.scenario.launcher.stage(k), parts.design) for k, parts in numbered]
            found |= config.variable_values(self.configuration, stages)
        return found

    def read_throws(self, path: str | Path, build: str | None = None) -> Throws:
        """Read a table of measured throws, all or those of one build. Raises InputErrors with all that is wrong.

        >>> len(launcher.read_throws("configs/seed_ball_throws.csv", "A").exit_speed)
        24
        """
        from stager.api.fitting import of_build
        from stager.fit.table import read

        return of_build(read(Path(path), self.scenario.launcher), build)

    def _table(self, throws: Table) -> Throws:
        return self.read_throws(throws) if isinstance(throws, str | Path) else throws

    def fit(
        self, throws: Table, *, seed: int = 0, stages: int | None = None, progress: Progress | None = None
    ) -> FitResult:
        """Fit the model to throws and predict chains of up to `stages` stages (None: one more than measured).

        throws: as `read_throws` returns them, or the path of a table. The same for `compare`, `next`, `report` and
        `sweep`.

        >>> launcher.fit(throws).law
        'falling'
        """
        from stager.api import fitting
        from stager.api.results import shown

        done = fitting.fit(self.scenario, self._table(throws), seed, stages, progress)
        return shown(fitting.FitResult, done, loaded=self)

    def save_fit(self, fit: Fit, path: str | Path, *, seed: int = 0, force: bool = False) -> list[Path]:
        """Write the configuration with fitted values to `path`, and the draws next to it; return the files.

        force: replace files that this program did not write. Raises InputError where they cannot be written.
        """
        from stager.api import fitting

        return fitting.save_fit(self.configuration, fit, Path(path), seed, force=force)

    def compare(self, throws: Table, builds: tuple[str, str], *, seed: int = 0) -> CompareResult:
        """Compare two builds of a table: whether they differ, by how much, and what explains it.

        >>> launcher.compare(throws, ("A", "B")).different
        True
        """
        from stager.api import fitting
        from stager.api.results import shown

        table = self._table(throws)
        compared = fitting.compare(self.scenario, table, builds, seed)
        return shown(fitting.CompareResult, compared, loaded=self, throws=table)

    def next(self, throws: Table, *, seed: int = 0, count: int = 6, progress: Progress | None = None) -> NextResult:
        """Return the `count` throws to make next, or that enough is known.

        >>> launcher.next(throws, count=3).enough
        True
        """
        from stager.api import fitting
        from stager.api.results import shown

        found = fitting.suggest(self.scenario, self._table(throws), seed, count, progress)
        return shown(fitting.NextResult, found, loaded=self)

    def report(
        self, throws: Table | None = None, *, plan: Plan | None = None, seed: int = 0,
        progress: Progress | None = None, workers: int | None = 1,
    ) -> Report:  # fmt: skip
        """Return a report (page and pictures) of `plan`, or with throws of a plan of the launcher fitted to them.

        plan: made here where left out. Raises InputError for a plan beside throws.
        """
        from stager.api.documents import Report, gather

        return Report(gather(self, None if throws is None else self._table(throws), plan, seed, progress, workers))

    def card(
        self, *, plan: Plan | None = None, seed: int = 0, progress: Progress | None = None, workers: int | None = 1
    ) -> CardResult:
        """Return the sheet to pin up beside the launcher.

        It has the settings of `plan`; without it the set speeds in [[stages]], or if these are not all set, those of a
        plan made here. Raises NoDesign where none fits.

        >>> launcher.card().settings.count
        4
        """
        from stager.api import documents

        return documents.make_card(self, plan, seed, progress, workers)

    def watch(
        self, throws: Throws, *, seed: int = 0, stages: int = 1, progress: Progress | None = None
    ) -> tuple[Next, bool]:
        """Return curve, grip limit and next setting after a throw at the bench, and whether a fit supports them.

        Below three usable throws they are what the configuration expects of `stages` stages.
        """
        from stager.api import fitting

        return fitting.watch(self.scenario, throws, seed, stages, progress)


def load(path: str | Path, changes: Mapping[str, object] | None = None) -> Loaded:
    """Read and check a configuration file. Raises InputErrors with all that is wrong with it.

    changes: other values by dotted key, see `Loaded.replace`.

    >>> stager.load("configs/seed_ball.toml")
    <Loaded: Ridge seed-ball thrower>
    """
    from stager import config

    loaded = _loaded(config.load(path))
    return loaded.replace(changes) if changes else loaded


def _loaded(configuration: Configuration) -> Loaded:
    return Loaded(configuration=configuration, scenario=configuration.scenario(), sha256=configuration.sha256)


def build(values: Mapping[str, object]) -> Loaded:
    """Build a launcher without a file, from nested tables as a configuration has them.

    Raises InputErrors with all that is wrong with them.

    >>> stager.build({"projectile": {"mass": "20 g"}})  # doctest: +IGNORE_EXCEPTION_DETAIL
    Traceback (most recent call last):
    stager.errors.InputErrors: [...]
    """
    import hashlib

    from stager import config
    from stager.config.toml import show_tree

    text = show_tree(values)
    return _loaded(config.understand(Path("<values>"), text, hashlib.sha256(text.encode()).hexdigest()))
