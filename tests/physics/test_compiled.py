"""The compiled kernels against plain Python, their disk cache and the message before compiling."""

from __future__ import annotations

import errno
import json
import os
import pkgutil
import subprocess
import sys
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import stager
from stager.bounds.entry_sets import Cells
from stager.bounds.stages import enclosure
from stager.model.arrays import Floats
from stager.model.launcher import Launcher
from stager.model.projectile import ROD
from stager.model.stage import IDLER, PAIR, RAIL, Drive, Supply, Wheel
from stager.physics import announcement, compiled
from stager.physics.chain import Options, throw
from stager.physics.contact.columns import RECORD
from stager.physics.contact.run import throw_samples
from stager.physics.friction import Bell, Constant, Falling, Rising, Tabulated
from stager.physics.rate import settled
from stager.physics.records import FIELDS
from stager.physics.wheel import growth
from tests.drive.machines import launcher as driven
from tests.physics.machines import launcher

ROOT = Path(__file__).parents[2]
PROGRAM = "from tests.physics.test_compiled import results; import json; print(json.dumps(results()))"
SPEEDS = np.array([9.0, 14.0])
LOOSE = Options(tolerance=1e-4)


def machines() -> dict[str, Launcher]:
    """Return one launcher per branch of the kernel: layouts, friction laws, rods, motors."""
    usual: dict[str, Any] = {"inertia": 4e-5, "crush": 2e-3, "creep": 0.15, "rebound": 0.8}
    motor = Drive(speed_constant=150.0, resistance=0.06, no_load_current=1.0, current_limit=20.0)
    found = {
        "pair": launcher(law=Falling(0.7, 0.2, 9.0), **usual),
        "rail": launcher(layout=RAIL, law=Bell(0.8, 3.0, 2.0), **usual),
        "idler": launcher(layout=IDLER, law=Rising(0.3, 0.7, 5.0), exponent=1.5, stiffness=5e6, **usual),
        "points": launcher(law=Tabulated((0.0, 2.0, 8.0), (0.4, 0.8, 0.3)), rail_law=Constant(0.4), **usual),
        "sharp": launcher(law=Falling(0.8, 0.3, 5.0, 1.7), **usual),
    }
    rod = replace(found["pair"].projectile, shape=ROD, length=0.05)
    held_by_two = replace(found["pair"].template, pitch=0.05)
    found["rods held by two"] = replace(found["pair"], projectile=rod, template=held_by_two)
    found["driven"] = replace(found["pair"], template=replace(found["pair"].template, drive=motor))
    return found


def results() -> list[float]:
    """Return results of every kernel as one list."""
    left: list[float] = []
    for machine in machines().values():
        done = throw(machine, SPEEDS, entry_spin=3.0 if machine.projectile.shape.rolls else 0.0, options=LOOSE)
        left += [float(getattr(done.stages, name)[k]) for name in FIELDS for k in range(2)]
    found = settled(driven(supply=Supply(voltage=14.8, resistance=0.03)), 8.0, SPEEDS[:1], options=LOOSE)
    assert found is not None
    left += [float(found.loss), *found.missing.tolist(), *found.energies.copper.tolist()]
    for layout in (PAIR, RAIL):
        machine = driven(layout=layout)
        enclose = enclosure(machine, machine.stage(0), spins=False)
        assert not isinstance(enclose, str)
        cell = Cells(np.array([[4.0], [4.0], [12.0]]), np.array([[4.1], [4.1], [12.2]]), np.zeros(1, np.intp))
        bounds = enclose(cell, 12)
        left += [float(end[0]) for end in (bounds.low, bounds.high, bounds.band_low, bounds.band_high, bounds.strain)]
    return left


def test_plain_python_gives_the_compiled_results() -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True, cwd=ROOT,
        env={**os.environ, "STAGER_COMPILE": "0"},
    )  # fmt: skip
    # Round-off changes the step sizes, so the results differ by a small part of the tolerance.
    assert json.loads(done.stdout) == pytest.approx(results(), rel=1e-8, abs=1e-9)


def test_kernel_record_holds_the_fields_of_a_transit() -> None:
    done = throw(machines()["rail"], SPEEDS)
    assert len(FIELDS) == RECORD
    stages = done.stages
    assert stages.wheel_speed_a == pytest.approx(SPEEDS)
    assert stages.entry_speed[1] == stages.exit_speed[0]
    assert stages.entry_spin[1] == stages.exit_spin[0]
    assert stages.exit_speed[1] == done.exit_speed


def test_cache_key_covers_every_compiled_source() -> None:
    # A cached kernel must be recompiled when any function compiled into it changes.
    if not compiled.COMPILES:
        pytest.fail("the tests need the compiler")
    files = set()
    for module in pkgutil.walk_packages(stager.__path__, "stager."):
        if module.name.endswith("__main__"):
            continue
        for value in vars(import_module(module.name)).values():
            function = getattr(value, "call", value) if isinstance(value, compiled.Entry) else value
            if hasattr(function, "py_func"):
                files.add(Path(function.py_func.__code__.co_filename))
    assert len(files) > 5
    assert {file for file in files if file.suffix == ".py"} <= set(compiled.sources())


def double(value: float) -> float:
    return 2.0 * value


@pytest.mark.parametrize("cached", [False, True])
def test_compiling_is_announced_once_without_a_cached_kernel(cached: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    announced: list[bool] = []
    announcement.on_compiling(lambda: announced.append(True))
    monkeypatch.setattr(compiled.Entry, "kept", property(lambda self: cached))
    entry = compiled.entry(double)
    assert [entry(1.0), entry(2.0)] == [2.0, 4.0]
    assert announced == ([] if cached else [True])
    announcement.on_compiling(None)


def test_wheel_growth_is_quadratic_in_speed() -> None:
    # The kernel takes growth as a single coefficient of speed squared.
    wheel: Wheel = driven().template.wheel
    speeds: Floats = np.geomspace(1.0, 100.0, 7)
    assert growth(wheel, speeds) == pytest.approx(growth(wheel, 1.0) * speeds**2)
    assert (np.asarray(growth(wheel, speeds)) > 0).all()


def triple(value: float) -> float:
    return 3.0 * value


def test_full_disk_does_not_stop_a_throw(monkeypatch: pytest.MonkeyPatch) -> None:
    entry = compiled.entry(triple)

    def full(*given: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(entry.call._cache._cache_file, "_save_data", full)
    assert entry(3.0) == 9.0


def test_kernels_compile_without_a_writable_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**options: object) -> Any:
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return made(**options)

    made = compiled.numba.njit
    monkeypatch.setattr(compiled.numba, "njit", refuse)
    entry = compiled.entry(double)
    assert not entry.kept
    assert entry(3.0) == 6.0


def test_kernel_is_compiled_once_for_read_only_and_other_arrays() -> None:
    machine = launcher()
    fixed = np.full((3, 1), 8.0)
    fixed.flags.writeable = False
    for speeds in (np.full((3, 1), 8.0), fixed, np.broadcast_to(8.0, (3, 1)), np.full((1, 3), 8.0).T):
        for entry_speed in (2.0, np.full(3, 2.0), np.broadcast_to(2.0, (3,)), fixed[:, 0] / 4):
            throw(machine, speeds, entry_speed=entry_speed)
    assert len(throw_samples.call.signatures) == 1
