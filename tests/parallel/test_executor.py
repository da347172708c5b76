"""The same answer whoever works, and after an interruption. No source but arithmetic."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context, parent_process
from pathlib import Path

import numpy as np
import pytest
from stager.optimise.settle import judged

from stager.bounds import bound
from stager.config import load
from stager.errors import InputError
from stager.model.scenario import Scenario
from stager.optimise import odds as odds_of
from stager.parallel import ChunkCache, Executor, Floats, open_executor

CONFIG = Path(__file__).resolve().parents[2] / "configs" / "streamer.toml"


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(odds_of, "CHUNK", 60)
    monkeypatch.setattr(odds_of, "SHARED_OUT", 3)


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    whole = load(CONFIG).scenario()
    return replace(whole, limit_values=replace(whole.limit_values, stages=2))


def _draws(scenario: Scenario, executor: Executor | None = None) -> Floats:
    """120 draws up two stages: two chunks, or three where there are others to work."""
    climbed = judged(scenario, [np.array([13.0, 17.5])[:count] for count in range(3)])
    found = odds_of.odds(scenario, climbed, 120, np.random.default_rng(3), executor)
    assert found is not None
    return found.exit_speed


def test_processes_and_a_cluster_give_the_serial_answer_to_the_last_bit(scenario: Scenario) -> None:
    alone = _draws(scenario)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        assert np.array_equal(_draws(scenario, Executor(pool)), alone)
    from distributed import LocalCluster

    with (
        LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None) as cluster,
        open_executor(dask=cluster.scheduler_address) as executor,
    ):
        assert np.array_equal(_draws(scenario, executor), alone)


def test_an_interrupted_run_goes_on_where_it_stopped(scenario: Scenario, tmp_path: Path) -> None:
    alone, path = _draws(scenario), tmp_path / "parts.jsonl"

    def stop(share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        _draws(scenario, Executor(None, ChunkCache(path), stop))
    assert len(ChunkCache(path)) == 1
    # The second part was cut off while it was written.
    with path.open("a", encoding="utf-8") as file:
        file.write('{"key": "cut o')
    assert np.array_equal(_draws(scenario, Executor(None, ChunkCache(path))), alone)
    kept = ChunkCache(path)
    assert len(kept) == 2
    before = path.read_bytes()
    assert np.array_equal(_draws(scenario, Executor(None, kept)), alone)
    assert path.read_bytes() == before


def _double(number: float) -> Floats:
    return np.array([2.0 * number])


def test_other_work_is_not_taken_for_finished(tmp_path: Path) -> None:
    path = tmp_path / "parts.jsonl"
    assert Executor(None, ChunkCache(path)).map(_double, [1.0, 2.0])[1] == 4.0
    assert Executor(None, ChunkCache(path)).map(_double, [3.0])[0] == 6.0
    assert len(ChunkCache(path)) == 3


def test_no_cluster_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no Dask cluster answers"), open_executor(dask="tcp://127.0.0.1:1"):
        pass


def test_what_is_begun_aside_gives_the_same_answer(scenario: Scenario) -> None:
    here = Executor().submit(bound, scenario, 2, 0.0)()
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert Executor(pool).submit(bound, scenario, 2, 0.0)() == here
    # A pool that is gone: the work is done here.
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        executor = Executor(pool)
        assert executor.submit(_die, here)() == here


def _die(answer: object) -> object:
    if parent_process() is not None:
        os._exit(1)
    return answer
