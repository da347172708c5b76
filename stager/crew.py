"""Work in chunks: here, in other processes or on a cluster, with finished chunks kept on disk.

Chunks are cut by the problem and not by the number of workers, so answers do not depend on it.
"""

from __future__ import annotations

import hashlib
import json
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, as_completed
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from stager.errors import InputError
from stager.processes import processes, usual
from stager.version import __version__

Floats = NDArray[np.float64]
Task = Callable[[Any], Floats]
T = TypeVar("T")


class Kept:
    """Finished chunks in a file of JSON lines; a line that was cut off by an interruption is not read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._known: dict[str, Floats] = {}
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        self._torn = bool(text) and not text.endswith("\n")
        for line in text.splitlines():
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
        """What was kept under `key`."""
        return self._known.get(key)

    def put(self, key: str, values: Floats) -> None:
        """Keep `values`, exactly. Raises InputError where the file cannot be written."""
        self._known[key] = values
        line = json.dumps({"key": key, "shape": values.shape, "values": values.ravel().tolist()})
        try:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(f"\n{line}\n" if self._torn else f"{line}\n")
        except OSError as error:
            raise InputError(f"cannot be written: {error.strerror}", where=str(self.path)) from error
        self._torn = False


@dataclass(frozen=True, slots=True)
class Crew:
    """executor: who works, None: this process; kept: finished chunks, None: they are not kept."""

    executor: Executor | None = None
    kept: Kept | None = None
    progress: Callable[[float], None] = field(default=lambda share: None)

    def run(self, task: Task, payloads: Sequence[Any]) -> list[Floats]:
        """`task(payload)` of each, in order; `task` is a function of a module, payloads can be pickled."""
        return self.begin(task, payloads)()

    def begin(self, task: Task, payloads: Sequence[Any]) -> Callable[[], list[Floats]]:
        """Begin `run` while this process does other things; what is given back waits for the answers.

        Without an executor all is done when it is asked for.
        """
        keys = ["" if self.kept is None else _key(task, payload) for payload in payloads]
        found: dict[int, Floats] = {}
        for number, key in enumerate(keys):
            if self.kept is not None and (values := self.kept.get(key)) is not None:
                found[number] = values
        left = [number for number in range(len(payloads)) if number not in found]
        begun = self._submit(task, payloads, left)

        def answers() -> list[Floats]:
            for number, values in _finished(begun, task, payloads, left):
                found[number] = values
                if self.kept is not None:
                    self.kept.put(keys[number], values)
                self.progress(len(found) / len(payloads))
            return [found[number] for number in range(len(payloads))]

        return answers

    def aside(self, work: Callable[..., T], *given: Any) -> Callable[[], T]:
        """Begin `work(*given)` while this process does other things; what is given back waits for its answer.

        Without an executor it is done when it is asked for.
        """
        if self.executor is None:
            return lambda: work(*given)
        try:
            begun = self.executor.submit(work, *given)
        except BrokenExecutor:
            return lambda: work(*given)

        def answer() -> T:
            try:
                return begun.result()
            except BrokenExecutor:
                return work(*given)

        return answer

    def _submit(self, task: Task, payloads: Sequence[Any], left: Sequence[int]) -> dict[Future[Floats], int]:
        begun: dict[Future[Floats], int] = {}
        if self.executor is not None:
            with suppress(BrokenExecutor):
                for number in left:
                    begun[self.executor.submit(task, payloads[number])] = number
        return begun


def _finished(
    begun: dict[Future[Floats], int], task: Task, payloads: Sequence[Any], left: Sequence[int]
) -> Iterator[tuple[int, Floats]]:
    """Each as it is finished; what was not begun, or was lost with a worker that died, is done here."""
    done: set[int] = set()
    with suppress(BrokenExecutor):
        for future in as_completed(begun):
            values = future.result()
            done.add(begun[future])
            yield begun[future], values
    for number in left:
        if number not in done:
            yield number, task(payloads[number])


@contextmanager
def crew(
    workers: int | None = 1, dask: str | None = None, resume: Path | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> Iterator[Crew]:  # fmt: skip
    """Whom to work with: `workers` processes here (None: as many as begin at no cost), or a Dask cluster at an address;
    resume: where finished chunks are.

    Raises InputError where dask is not installed or does not answer.
    """
    kept = None if resume is None else Kept(resume)
    if dask is not None:
        with _cluster(dask) as client:
            yield Crew(client.get_executor(pure=False), kept, progress)
    elif (count := usual() if workers is None else workers) > 1:
        with processes(count) as pool:
            yield Crew(pool, kept, progress)
    else:
        yield Crew(None, kept, progress)


def _cluster(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError("dask is not installed", where="--dask", hint='pip install "stager[cluster]"') from error
    try:
        return Client(address, timeout=10)  # type: ignore[no-untyped-call]
    except (OSError, TimeoutError, ValueError) as error:
        message = f"no Dask cluster answers at {address}"
        raise InputError(message, where="--dask", hint='give a scheduler, as "tcp://127.0.0.1:8786"') from error


def _key(task: Task, payload: Any) -> str:
    """What a chunk is, whatever process works on it."""
    digest = hashlib.sha256(f"{__version__} {task.__module__}.{task.__qualname__} ".encode())
    digest.update(pickle.dumps(payload, protocol=5))
    return digest.hexdigest()
