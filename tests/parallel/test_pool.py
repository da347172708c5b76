"""Processes beside this one. No source but what the system does."""

from __future__ import annotations

import os
import threading
import time
from multiprocessing import active_children
from pathlib import Path

import pytest

from stager import parallel as here


def test_no_copies_while_another_thread_may_hold_a_lock() -> None:
    release = threading.Event()
    thread = threading.Thread(target=release.wait)
    thread.start()
    try:
        assert here.default_workers() == 1
    finally:
        release.set()
        thread.join()


def test_work_is_done_elsewhere_and_what_fails_leaves_nothing_behind() -> None:
    before = set(active_children())
    with pytest.raises(KeyboardInterrupt):
        _work_until_stopped()
    for child in set(active_children()) - before:
        child.join(10)
    assert set(active_children()) <= before


def _work_until_stopped() -> None:
    with here.process_pool(2) as pool:
        assert pool is not None
        assert pool.submit(os.getpid).result() != os.getpid()
        raise KeyboardInterrupt


def test_what_is_stopped_waits_neither_for_work_under_way_nor_for_work_to_come(tmp_path: Path) -> None:
    places = [tmp_path / str(number) for number in range(3)]
    with pytest.raises(KeyboardInterrupt):
        _stopped_at_work(places)
    assert [place.name for place in places if place.exists()] == []


def _stopped_at_work(places: list[Path]) -> None:
    with here.process_pool(1) as pool:
        assert pool is not None
        for place in places:
            pool.submit(_slowly, place)
        raise KeyboardInterrupt


def _slowly(place: Path) -> None:
    time.sleep(1.0)
    place.touch()


def test_a_system_without_processes_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object, **__: object) -> None:
        raise OSError("no semaphores here")

    monkeypatch.setattr(here, "ProcessPoolExecutor", none)
    with here.process_pool(2) as pool:
        assert pool is None
