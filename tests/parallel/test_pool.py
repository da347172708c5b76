"""Thread pools: an interruption drops what is queued and waits for nothing."""

from __future__ import annotations

import threading
import time
from concurrent.futures import Future

import pytest

from stager import parallel as here


def test_work_is_done_on_other_threads() -> None:
    with here.thread_pool(2) as pool:
        assert pool.submit(threading.get_ident).result() != threading.get_ident()


def test_interruption_drops_queued_work_and_waits_for_none() -> None:
    release, done, futures = threading.Event(), list[int](), list[Future[None]]()

    def work(number: int) -> None:
        release.wait(30)
        done.append(number)

    def begin_and_interrupt() -> None:
        with here.thread_pool(1) as pool:
            futures.extend(pool.submit(work, number) for number in range(3))
            raise KeyboardInterrupt

    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        begin_and_interrupt()
    assert time.monotonic() - begun < 20
    release.set()
    futures[0].result(30)
    assert done == [0]
    assert [future.cancelled() for future in futures] == [False, True, True]
