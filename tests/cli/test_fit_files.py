"""What a fit writes is whole, or not there."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from stager.files import write_whole
from tests.cli.run import ROOT, hears_interrupts, stager

CONFIG, TABLE = str(ROOT / "configs" / "seed_ball.toml"), str(ROOT / "configs" / "seed_ball_throws.csv")
SLOW = """
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


def test_interrupted_while_it_fits(tmp_path: Path) -> None:
    write_whole(tmp_path / "fitted.toml", "title = 'old'\n")
    before = _files(tmp_path)
    with subprocess.Popen(
        [sys.executable, "-c", SLOW, "fit", CONFIG, TABLE, "-o", str(tmp_path / "fitted.toml")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, preexec_fn=hears_interrupts,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        process.stdout.readline()
        process.send_signal(signal.SIGINT)
        out, said = process.communicate()
    assert (process.returncode, out, said) == (130, "", "interrupted; nothing was written\n")
    assert _files(tmp_path) == before


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize("file", [0, 1, 2])
def test_interrupted_while_it_writes(file: int, there: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if there:
        write_whole(tmp_path / "fitted.toml", "title = 'old'\n")
        write_whole(tmp_path / "fitted.draws.csv", "old\n")
    before = _files(tmp_path)
    synced: list[int] = []
    sync = os.fsync

    def interrupt(handle: int) -> None:
        synced.append(handle)
        if len(synced) == file + 1:
            raise KeyboardInterrupt
        sync(handle)

    monkeypatch.setattr(os, "fsync", interrupt)
    few = tmp_path.parent / "few.csv"
    few.write_text("wheel_1 [m/s],exit_speed [m/s]\n8,7.2\n10,9.0\n12,10.7\n", encoding="utf-8")
    ran = stager("fit", CONFIG, str(few), "-o", str(tmp_path / "fitted.toml"))
    assert ran.status == 130
    assert _files(tmp_path) == before
