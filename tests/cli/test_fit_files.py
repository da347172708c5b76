"""Files written by a fit: complete or absent, also after an interruption."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import stager
from stager.api.loaded import Loaded
from stager.files import write_whole
from stager.fit.fitting import fit
from stager.fit.posterior import Fit
from tests.cli.run import ROOT, restore_interrupt_signal
from tests.cli.run import stager as run

CONFIG = str(ROOT / "configs" / "seed_ball.toml")
FEW = "wheel_1 [m/s],exit_speed [m/s]\n8,7.2\n10,9.0\n12,10.7\n"
SLOW_FIT = """
import sys, time, stager.fit.fitting as fitting
from stager.cli import main
def posterior(*given):
    print(flush=True)
    time.sleep(60)
fitting.posterior = posterior
main()
"""


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def _write_old_fit(folder: Path) -> None:
    write_whole(folder / "fitted.toml", "title = 'old'\n")
    write_whole(folder / "fitted.draws.csv", "old\n")


def _interrupt_write(monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    """Interrupt when file `number` (from 0) is flushed to the disk."""
    synced: list[int] = []
    sync = os.fsync

    def interrupt(handle: int) -> None:
        synced.append(handle)
        if len(synced) == number + 1:
            raise KeyboardInterrupt
        sync(handle)

    monkeypatch.setattr(os, "fsync", interrupt)


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Loaded, Fit]:
    table = tmp_path_factory.mktemp("few") / "few.csv"
    table.write_text(FEW, encoding="utf-8")
    loaded = stager.load(CONFIG)
    return loaded, fit(loaded.scenario, loaded.read_throws(table), np.random.default_rng(0), other_laws=False)


def test_interruption_during_the_fit_writes_nothing(tmp_path: Path) -> None:
    table = tmp_path / "few.csv"
    table.write_text(FEW, encoding="utf-8")
    write_whole(tmp_path / "fitted.toml", "title = 'old'\n")
    before = _files(tmp_path)
    with subprocess.Popen(
        [sys.executable, "-c", SLOW_FIT, "fit", CONFIG, str(table), "-o", str(tmp_path / "fitted.toml")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=restore_interrupt_signal,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        process.stdout.readline()
        process.send_signal(signal.SIGINT)
        out, message = process.communicate()
    assert (process.returncode, out, message) == (130, "", "interrupted; nothing was written\n")
    assert _files(tmp_path) == before


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize("number", [0, 1, 2])
def test_interruption_during_writing_keeps_the_old_files(
    number: int, there: bool, tmp_path: Path, fitted: tuple[Loaded, Fit], monkeypatch: pytest.MonkeyPatch
) -> None:
    if there:
        _write_old_fit(tmp_path)
    before = _files(tmp_path)
    _interrupt_write(monkeypatch, number)
    loaded, done = fitted
    with pytest.raises(KeyboardInterrupt):
        loaded.save_fit(done, tmp_path / "fitted.toml")
    assert _files(tmp_path) == before


@pytest.mark.usefixtures("few_draws")
def test_interrupted_command_keeps_the_old_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "few.csv").write_text(FEW, encoding="utf-8")
    _write_old_fit(tmp_path)
    before = _files(tmp_path)
    _interrupt_write(monkeypatch, 1)
    few, out = str(tmp_path / "few.csv"), str(tmp_path / "fitted.toml")
    ran = run("fit", CONFIG, few, "-o", out, "--stages", "1", "--set", "limits.stages=1")
    assert ran.status == 130
    assert _files(tmp_path) == before


@pytest.mark.usefixtures("few_draws")
def test_values_of_a_model_that_does_not_fit_are_not_for_plans(tmp_path: Path) -> None:
    # The two builds of the table differ.
    table = str(ROOT / "configs" / "seed_ball_throws.csv")
    ran = run("fit", str(ROOT / "configs" / "seed_ball.toml"), table, "-o", str(tmp_path / "fitted.toml"))
    words = " ".join(ran.out.split())
    assert "The model does not fit these" in words
    assert "values of a model that does not fit, so plan nothing with them" in words
    assert "use the first as CONFIG" not in words
