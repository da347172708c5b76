"""Parallel map: processes, a cluster and a resumed run give the serial result."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context, parent_process
from pathlib import Path

import numpy as np
import pytest

from stager import parallel
from stager.errors import InputError
from stager.parallel import ChunkCache, Executor, Floats, open_executor

CHUNKS = [(seed, 40) for seed in range(3)]


def _sample(chunk: tuple[int, int]) -> Floats:
    """Return sums whose last bits depend on the order of summation."""
    seed, count = chunk
    return np.cumsum(np.random.default_rng(seed).normal(size=count))


def test_processes_and_a_cluster_give_the_serial_result_bit_for_bit() -> None:
    serial = np.array(Executor().start_map(_sample, CHUNKS)())
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        assert np.array_equal(Executor(pool).start_map(_sample, CHUNKS)(), serial)
    from distributed import LocalCluster

    with (
        LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None) as cluster,
        open_executor(dask=cluster.scheduler_address) as executor,
    ):
        assert np.array_equal(executor.start_map(_sample, CHUNKS)(), serial)


def test_interrupted_run_resumes_from_its_cached_chunks(tmp_path: Path) -> None:
    serial, path = np.array(Executor().start_map(_sample, CHUNKS)()), tmp_path / "parts.jsonl"

    def stop(share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Executor(None, ChunkCache(path), stop).start_map(_sample, CHUNKS)()
    assert len(ChunkCache(path)) == 1
    # A second chunk, truncated while it was written.
    with path.open("a", encoding="utf-8") as file:
        file.write('{"key": "cut o')
    assert np.array_equal(Executor(None, ChunkCache(path)).start_map(_sample, CHUNKS)(), serial)
    cache = ChunkCache(path)
    assert len(cache) == 3
    before = path.read_bytes()
    assert np.array_equal(Executor(None, cache).start_map(_sample, CHUNKS)(), serial)
    assert path.read_bytes() == before


def _double(number: float) -> Floats:
    return np.array([2.0 * number])


def test_cached_chunks_of_other_arguments_are_not_reused(tmp_path: Path) -> None:
    path = tmp_path / "parts.jsonl"
    assert Executor(None, ChunkCache(path)).start_map(_double, [1.0, 2.0])()[1] == 4.0
    assert Executor(None, ChunkCache(path)).start_map(_double, [3.0])()[0] == 6.0
    assert len(ChunkCache(path)) == 3


def test_missing_cluster_is_an_input_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "PATIENCE", 1.0)
    with pytest.raises(InputError, match="no Dask cluster answers"), open_executor(dask="tcp://127.0.0.1:1"):
        pass


def test_cluster_over_tls_gives_the_same_result(tmp_path: Path) -> None:
    openssl = shutil.which("openssl")
    assert openssl, "this test needs openssl to make certificates"
    from distributed import LocalCluster
    from distributed.security import Security

    cert, key = str(tmp_path / "cert.pem"), str(tmp_path / "key.pem")
    make = [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"]
    subprocess.run([*make, "-keyout", key, "-out", cert], check=True, capture_output=True)
    files = tuple(map(Path, (cert, cert, key)))
    security = Security(
        tls_ca_file=cert, tls_client_cert=cert, tls_client_key=key, tls_scheduler_cert=cert, tls_scheduler_key=key,
        tls_worker_cert=cert, tls_worker_key=key, require_encryption=True,
    )  # fmt: skip
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None, security=security
    ) as cluster:
        address = cluster.scheduler_address
        assert address.startswith("tls://")
        with open_executor(dask=address, tls=(files[0], files[1], files[2])) as executor:
            assert executor.start_map(_double, [2.0])()[0] == 4.0
        for given, tls, message in [
            (address, (tmp_path / "none", files[1], files[2]), "there is no file"),
            (address, (files[0], files[2], files[1]), "no Dask cluster answers"),
            (address.replace("tls", "tcp"), (files[0], files[1], files[2]), "is not an address of TLS"),
        ]:
            with pytest.raises(InputError, match=message), open_executor(dask=given, tls=tls):
                pass


def test_workers_are_limited_to_the_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    @contextmanager
    def pool(count: int) -> Iterator[None]:
        asked.append(count)
        yield None

    monkeypatch.setattr(parallel, "thread_pool", pool)
    monkeypatch.setattr(parallel, "cores", lambda: 3)
    for workers in (1, 2, 10**12):
        with open_executor(workers):
            pass
    assert asked == [2, 3]


@pytest.mark.parametrize("content", ["mine", '{"key": "a"}\n', "\n", "a" * 100_000, b"\xff\xfe"])
def test_foreign_file_is_refused_as_chunk_cache(content: str | bytes, tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"holds no finished parts|cannot be read"), open_executor(resume=path):
        pass
    assert path.read_bytes() == before
    with pytest.raises(InputError, match="is not a file"), open_executor(resume=Path(os.devnull)):
        pass


def test_submit_gives_the_serial_result_even_if_the_pool_dies() -> None:
    here = Executor().submit(divmod, 7, 3)()
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert Executor(pool).submit(divmod, 7, 3)() == here
    # The pool's process dies: the work is done in this process.
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        executor = Executor(pool)
        assert executor.submit(_exit_in_child, here)() == here


def _exit_in_child(answer: object) -> object:
    if parent_process() is not None:
        os._exit(1)
    return answer
