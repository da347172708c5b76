"""Run several sequential optimisers in threads and evaluate their points in one batch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from threading import Condition, Thread

import numpy as np

from stager.model.arrays import Floats

Answer = tuple[Floats, ...]


class Lockstep:
    """Collects the points of all running workers and calls `look` once for them; see `together`."""

    def __init__(self, look: Callable[[Floats], Answer], workers: int) -> None:
        self._look, self._working, self._turn = look, workers, Condition()
        self._asked: dict[int, Floats] = {}
        self._answers: dict[int, Answer | BaseException] = {}

    def ask(self, worker: int, points: Floats) -> Answer:
        """Return the answers to `points`, shape (points, sides), once every worker has asked or left."""
        with self._turn:
            self._asked[worker] = points
            self._run_if_all()
            self._turn.wait_for(lambda: worker in self._answers)
            answer = self._answers.pop(worker)
        if isinstance(answer, BaseException):
            raise answer
        return answer

    def leave(self) -> None:
        """Remove a worker that has ended."""
        with self._turn:
            self._working -= 1
            self._run_if_all()

    def _run_if_all(self) -> None:
        if not self._asked or len(self._asked) < self._working:
            return
        who, points = list(self._asked), list(self._asked.values())
        cuts = np.cumsum([len(each) for each in points])[:-1]
        try:
            columns = [np.split(values, cuts) for values in self._look(np.vstack(points))]
            self._answers |= {each: tuple(column[k] for column in columns) for k, each in enumerate(who)}
        except Exception as error:  # passed on to every waiting worker
            self._answers |= dict.fromkeys(who, error)
        self._asked.clear()
        self._turn.notify_all()


Ask = Callable[[Floats], Answer]


def together(look: Callable[[Floats], Answer], jobs: Sequence[Callable[[Ask], object]]) -> None:
    """Run the jobs in threads, each with a function that evaluates its points with `look`."""
    step, failed = Lockstep(look, len(jobs)), list[BaseException]()

    def work(number: int) -> None:
        try:
            jobs[number](lambda points: step.ask(number, points))
        except Exception as error:
            failed.append(error)
        finally:
            step.leave()

    threads = [Thread(target=work, args=(number,)) for number in range(len(jobs))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failed:
        raise failed[0]
