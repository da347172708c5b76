"""Process pools: start conditions, and a prompt end on interruption."""

from __future__ import annotations

import os
import threading
import time
from multiprocessing import active_children
from pathlib import Path

import pytest

from stager import parallel as here


def test_one_worker_while_other_threads_run() -> None:
    release = threading.Event()
    thread = threading.Thread(target=release.wait)
    thread.start()
    try:
        assert here.default_workers() == 1
    finally:
        release.set()
        thread.join()


def test_interruption_leaves_no_child_process() -> None:
    before = set(active_children())
    with pytest.raises(KeyboardInterrupt):
        _work_until_interrupted()
    for child in set(active_children()) - before:
        child.join(10)
    assert set(active_children()) <= before


def _work_until_interrupted() -> None:
    with here.process_pool(2) as pool:
        assert pool is not None
        assert pool.submit(os.getpid).result() != os.getpid()
        raise KeyboardInterrupt


def test_interruption_abandons_running_and_queued_work(tmp_path: Path) -> None:
    places = [tmp_path / str(number) for number in range(3)]
    with pytest.raises(KeyboardInterrupt):
        _queue_work_then_interrupt(places)
    assert [place.name for place in places if place.exists()] == []


def _queue_work_then_interrupt(places: list[Path]) -> None:
    with here.process_pool(1) as pool:
        assert pool is not None
        for place in places:
            pool.submit(_touch_after_a_second, place)
        raise KeyboardInterrupt


def _touch_after_a_second(place: Path) -> None:
    time.sleep(1.0)
    place.touch()


def test_pool_is_none_where_processes_are_unavailable(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object, **__: object) -> None:
        raise OSError("no semaphores here")

    monkeypatch.setattr(here, "ProcessPoolExecutor", none)
    with here.process_pool(2) as pool:
        assert pool is None
