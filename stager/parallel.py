"""Executors: run chunks of work here, on threads or on a Dask cluster, and keep finished chunks on disk.

The problem sets the chunks, whatever the number of workers, so that results do not depend on it.
"""

from __future__ import annotations

import concurrent.futures
import hashlib
import json
import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Future, ThreadPoolExecutor, as_completed
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from stager.errors import InputError
from stager.files import append, locked, replace_all
from stager.version import __version__

Floats = NDArray[np.float64]
Task = Callable[[Any], Floats]
T = TypeVar("T")
DEFAULT_WORKERS = 2
"""Threads where the user does not say: more gain little, since parts of the search wait for each other."""
PATIENCE = 10.0
"""Longest wait for the first answer of a cluster [s]."""
FILE_HEADER = '{"stager": "finished chunks"}'
"""First line of a file of finished chunks."""


class ChunkCache:
    """Finished chunks in a file of JSON lines; incomplete lines, as an interruption leaves them, are skipped."""

    def __init__(self, path: Path) -> None:
        """Read the chunks of `path`, or begin the file.

        Raises
        ------
        InputError
            Where the file holds something else, or cannot be read or written.
        """
        self.path = path
        self._known: dict[str, Floats] = {}
        if path.exists() and not path.is_file():
            raise InputError("is not a file: no parts can be kept in it", where=str(path), hint="name a file")
        if not path.exists() or path.stat().st_size == 0:
            replace_all({path: f"{FILE_HEADER}\n".encode()})
        with _readable(path), path.open(encoding="utf-8") as lines:
            if next(lines, "").rstrip() != FILE_HEADER:
                hint = "name a new file, or one that --resume has begun"
                raise InputError("holds no finished parts of a plan, and is left as it is", where=str(path), hint=hint)
            for line in lines:
                self._read(line)

    def _read(self, line: str) -> None:
        try:
            entry = json.loads(line)
            values = np.array(entry["values"], dtype=np.float64).reshape(entry["shape"])
        except (ValueError, KeyError, TypeError):
            return
        self._known[entry["key"]] = values

    def __len__(self) -> int:
        return len(self._known)

    def get(self, key: str) -> Floats | None:
        """Return the values kept under `key`; None where there are none."""
        return self._known.get(key)

    def put(self, key: str, values: Floats) -> None:
        """Keep `values` to the last bit. Raises InputError where the file cannot be written."""
        self._known[key] = values
        append(self.path, json.dumps({"key": key, "shape": values.shape, "values": values.ravel().tolist()}))


@contextmanager
def _readable(path: Path) -> Iterator[None]:
    """Raise failures to read `path` as InputError."""
    try:
        yield
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not text in UTF-8"
        raise InputError(f"cannot be read ({reason})", where=str(path)) from error


@dataclass(frozen=True, slots=True)
class Executor:
    """Runs tasks in `pool` (None: in this process) and keeps finished chunks in `cache` (None: nowhere).

    progress: called with the share of the chunks that is finished [-].
    """

    pool: concurrent.futures.Executor | None = None
    cache: ChunkCache | None = None
    progress: Callable[[float], None] = field(default=lambda share: None)

    def start_map(self, task: Task, payloads: Sequence[Any]) -> Callable[[], list[Floats]]:
        """Start `task(payload)` of each payload and return a function that waits for the results, in order.

        task: function at the top level of a module; payloads: picklable. Without a pool, calling that function does
        the work.
        """
        keys = ["" if self.cache is None else _key(task, payload) for payload in payloads]
        found: dict[int, Floats] = {}
        for number, key in enumerate(keys):
            if self.cache is not None and (values := self.cache.get(key)) is not None:
                found[number] = values
        remaining = [number for number in range(len(payloads)) if number not in found]
        futures = self._submit(task, payloads, remaining)

        def answers() -> list[Floats]:
            try:
                for number, values in _finished(futures, task, payloads, remaining):
                    found[number] = values
                    if self.cache is not None:
                        self.cache.put(keys[number], values)
                    self.progress(len(found) / len(payloads))
            finally:
                # Where `progress` raises, what has not begun is not needed.
                for future in futures:
                    future.cancel()
            return [found[number] for number in range(len(payloads))]

        return answers

    def submit(self, work: Callable[..., T], *given: Any) -> Callable[[], T]:
        """Start `work(*given)` and return a function that waits for its result.

        Without a pool, calling that function does the work.
        """
        if self.pool is None:
            return lambda: work(*given)
        try:
            futures = self.pool.submit(work, *given)
        except BrokenExecutor:
            return lambda: work(*given)

        def answer() -> T:
            try:
                return futures.result()
            except BrokenExecutor:
                return work(*given)

        return answer

    def _submit(self, task: Task, payloads: Sequence[Any], remaining: Sequence[int]) -> dict[Future[Floats], int]:
        futures: dict[Future[Floats], int] = {}
        if self.pool is not None:
            with suppress(BrokenExecutor):
                for number in remaining:
                    futures[self.pool.submit(task, payloads[number])] = number
        return futures


def _finished(
    futures: dict[Future[Floats], int], task: Task, payloads: Sequence[Any], remaining: Sequence[int]
) -> Iterator[tuple[int, Floats]]:
    """Yield number and values of each chunk as it finishes.

    Chunks that were not submitted, or were lost with a worker that died, are computed in this process.
    """
    done: set[int] = set()
    with suppress(BrokenExecutor):
        for future in as_completed(futures):
            values = future.result()
            done.add(futures[future])
            yield futures[future], values
    for number in remaining:
        if number not in done:
            yield number, task(payloads[number])


@contextmanager
def open_executor(
    workers: int | None = 1, dask: str | None = None, resume: Path | None = None,
    progress: Callable[[float], None] = lambda share: None, tls: tuple[Path, Path, Path] | None = None,
) -> Iterator[Executor]:  # fmt: skip
    """Open an executor over threads of this process or a Dask cluster.

    Parameters
    ----------
    workers : int or None
        Number of threads, at most one a core; None: DEFAULT_WORKERS.
    dask : str or None
        Address of a Dask scheduler to use instead; it must be trusted, since its results are unpickled.
    resume : Path or None
        File of finished chunks, read and added to.
    progress : callable
        Called with the finished share of the chunks [-].
    tls : tuple of Path or None
        Certificate of the scheduler's authority, own certificate and own key, for encrypted connections.

    Raises
    ------
    InputError
        Where dask is not installed, no scheduler answers, or the file of chunks cannot be used.
    """
    with nullcontext() if resume is None else locked(resume):
        cache = None if resume is None else ChunkCache(resume)
        if dask is not None:
            with _cluster(dask, tls) as client:
                yield Executor(client.get_executor(pure=False), cache, progress)
        elif (count := min(workers or DEFAULT_WORKERS, cores())) > 1:
            with thread_pool(count) as pool:
                yield Executor(pool, cache, progress)
        else:
            yield Executor(None, cache, progress)


def _cluster(address: str, tls: tuple[Path, Path, Path] | None) -> Any:
    try:
        from distributed import Client
        from distributed.security import Security
    except ImportError as error:
        raise InputError("dask is not installed", where="--dask", hint='pip install "stager[cluster]"') from error
    for file in tls or ():
        if not file.is_file():
            raise InputError(f"there is no file {file}", where="--dask-tls", hint="give authority, certificate and key")
    if tls is not None and not address.startswith("tls://"):
        raise InputError(
            f"{address} is not an address of TLS", where="--dask", hint='give it as "tls://127.0.0.1:8786"'
        )
    try:
        names = ("tls_ca_file", "tls_client_cert", "tls_client_key")
        files = {} if tls is None else dict(zip(names, map(str, tls), strict=True))
        security = Security(require_encryption=True, **files) if files else None  # type: ignore[no-untyped-call]
        return Client(address, timeout=PATIENCE, security=security)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError, ValueError, TypeError, RuntimeError) as error:
        message = f"no Dask cluster answers at {address}"
        raise InputError(message, where="--dask", hint='give a scheduler, as "tcp://127.0.0.1:8786"') from error


def _key(task: Task, payload: Any) -> str:
    """Return a hash of task, payload and program version."""
    digest = hashlib.sha256(f"{__version__} {task.__module__}.{task.__qualname__} ".encode())
    digest.update(pickle.dumps(payload, protocol=5))
    return digest.hexdigest()


def cores() -> int:
    """Return the number of cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def thread_pool(count: int) -> Iterator[concurrent.futures.Executor]:
    """Open a pool of `count` threads: the kernels that they call run side by side.

    After an exception queued work is dropped, and nobody waits for what is begun.
    """
    pool = ThreadPoolExecutor(count)
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    pool.shutdown()
