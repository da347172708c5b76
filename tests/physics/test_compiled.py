"""The compiled kernels against plain Python, what is kept of them and the message before compiling."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stager.bounds.entry_sets import Cells
from stager.bounds.stages import enclosure
from stager.errors import StagerError
from stager.model.arrays import Floats, Matrix, Vector
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


COMPILED_FILES = """
import json, pkgutil, stager
from importlib import import_module
files = set()
for module in pkgutil.walk_packages(stager.__path__, "stager."):
    if not module.name.endswith("__main__"):
        for value in vars(import_module(module.name)).values():
            if hasattr(getattr(value, "function", value), "py_func"):
                files.add(value.py_func.__code__.co_filename)
print(json.dumps(sorted(files)))
"""


def test_digest_of_kept_kernels_covers_every_compiled_source() -> None:
    # A kept kernel must be compiled anew when any function compiled into it changes.
    done = subprocess.run(
        [sys.executable, "-c", COMPILED_FILES], capture_output=True, text=True, check=True, cwd=ROOT,
        env={**os.environ, compiled.BUILDING: "1"},
    )  # fmt: skip
    files = {Path(name) for name in json.loads(done.stdout) if name.endswith(".py")}
    assert len(files) > 5
    assert files <= set(compiled.sources())


@compiled.entry
def double(value: float) -> float:
    """Return twice a value."""
    return 2.0 * value


@compiled.entry
def summed(values: Matrix, weights: Vector, out: Vector) -> int:
    """Write weighted sums of the rows."""
    for i in range(values.shape[0]):
        out[i] = 0.0
        for j in range(values.shape[1]):
            out[i] += values[i, j] * weights[j]
    return values.shape[0]


@compiled.entry
def making_an_array(count: int) -> float:
    """Return 0, by way of an array."""
    return float(np.zeros(count).sum())


@compiled.entry
def raising(count: int) -> int:
    """Raise what only a process with numba can."""
    if count > 3:
        raise ValueError
    return count


@pytest.fixture
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Keep kernels in a folder of the test's own, and none of the package's."""
    monkeypatch.setattr(compiled, "folders", lambda: iter([tmp_path / "kept"]))
    monkeypatch.setattr(compiled, "kernels", list)
    yield tmp_path / "kept"
    announcement.on_compiling(None)


def fresh(kernel: compiled.Entry) -> compiled.Entry:
    """Return a kernel as a new process has it."""
    return compiled.Entry(kernel.function)


@pytest.mark.usefixtures("alone")
def test_compiling_is_announced_where_no_kernel_is_kept_and_only_there() -> None:
    announced: list[bool] = []
    for expected in ([True], [True]):
        announcement.on_compiling(lambda: announced.append(True))
        kernel = fresh(double)
        assert [kernel(1.0), kernel(2.0)] == [2.0, 4.0]
        assert kernel.kept
        assert announced == expected


def test_damaged_kernel_is_made_anew_and_an_outdated_one_removed(alone: Path) -> None:
    fresh(double).load()
    (kept,) = alone.iterdir()
    whole = kept.read_bytes()
    for damage in (b"", whole[:-1], whole[:40] + bytes([whole[40] ^ 1]) + whole[41:]):
        kept.write_bytes(damage)
        assert not fresh(double).kept
    outdated = kept.with_name(kept.name.replace(compiled.stamp(Path(__file__)), "0" * 16))
    outdated.write_bytes(whole)
    assert fresh(double)(3.0) == 6.0
    assert [*alone.iterdir()] == [kept]
    assert len(kept.read_bytes()) == len(whole)


def test_kernels_run_where_nothing_can_be_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked, writable = tmp_path / "a file", tmp_path / "second"
    blocked.touch()
    monkeypatch.setattr(compiled, "kernels", list)
    monkeypatch.setattr(compiled, "folders", lambda: iter([blocked / "kept"]))
    kernel = fresh(double)
    assert kernel(3.0) == 6.0
    assert not kernel.kept
    monkeypatch.setattr(compiled, "folders", lambda: iter([blocked / "kept", writable]))
    assert fresh(double)(3.0) == 6.0
    assert len([*writable.iterdir()]) == 1


@pytest.mark.parametrize(("kernel", "reason"), [(making_an_array, "function zeros"), (raising, "raise an exception")])
def test_kernel_that_needs_the_compiler_to_run_is_refused(kernel: compiled.Entry, reason: str, alone: Path) -> None:
    with pytest.raises(StagerError, match="STAGER_COMPILE=0") as raised:
        kernel(2)
    assert reason in "".join(raised.value.__notes__)
    assert not alone.exists()


@pytest.mark.usefixtures("alone")
def test_arrays_of_any_order_give_one_result_and_others_are_refused() -> None:
    values, weights = np.arange(6.0).reshape(2, 3), np.array([1.0, 2.0, 3.0])
    expected, out = values @ weights, np.empty(2)
    fixed = values.copy()
    fixed.flags.writeable = False
    for given, by in ((values, weights), (fixed, weights), (fixed, np.broadcast_to(2.0, (3,)))):
        assert summed(given, by, out) == 2
        assert out == pytest.approx(given @ by)
    assert expected.tolist() == [8.0, 26.0]
    for given in (values.T, values.astype(np.float32), values[0]):
        with pytest.raises(TypeError, match="a kernel takes"):
            summed(given, weights, out)
    with pytest.raises(ValueError, match="argument"):
        summed(values, weights)


def test_compiling_ends_with_the_process_that_asked_for_it(tmp_path: Path) -> None:
    with compiled._begin(str(tmp_path), [throw_samples.name]) as building:
        assert building.stdin is not None
        building.stdin.close()
        assert building.wait() == 1
    assert not [*tmp_path.iterdir()]


def test_wheel_growth_is_quadratic_in_speed() -> None:
    # The kernel takes growth as a single coefficient of speed squared.
    wheel: Wheel = driven().template.wheel
    speeds: Floats = np.geomspace(1.0, 100.0, 7)
    assert growth(wheel, speeds) == pytest.approx(growth(wheel, 1.0) * speeds**2)
    assert (np.asarray(growth(wheel, speeds)) > 0).all()
