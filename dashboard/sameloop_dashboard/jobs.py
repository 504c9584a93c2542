"""Long work beside the pages: it outlives a change of page or a reload, and it can be stopped."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from sameloop.run import Progress

T = TypeVar("T")


@dataclass(slots=True)
class Job(Generic[T]):
    """Work under way: `stage` says what is being done, `done` the fraction behind."""

    stage: str = "Waiting for other work"
    done: float = 0.0
    _stop: threading.Event = field(default_factory=threading.Event)
    _future: Future[T] | None = None

    def begin(self, work: Callable[[Progress], T], workers: ThreadPoolExecutor) -> Job[T]:
        """Queue the work."""
        self._future = workers.submit(work, self._tell)
        return self

    def stop(self) -> None:
        """End the work at its next stage."""
        self._stop.set()

    @property
    def stopped(self) -> bool:
        """Whether it was asked to end."""
        return self._stop.is_set()

    def ended(self, seconds: float) -> bool:
        """Wait so long for the end."""
        return self._future is not None and bool(wait([self._future], timeout=seconds).done)

    def result(self) -> T:
        """Give what was worked out, or raise what went wrong."""
        if self._future is None:
            raise CancelledError
        return self._future.result()

    def _tell(self, stage: str, done: float) -> None:
        if self._stop.is_set():
            raise CancelledError
        self.stage, self.done = stage, done


class Jobs:
    """One piece of work at a time; the same work is never done twice at once."""

    def __init__(self) -> None:
        self._workers = ThreadPoolExecutor(max_workers=1, thread_name_prefix="sameloop")
        self._jobs: dict[tuple[str, str], Job[object]] = {}
        self._lock = threading.Lock()

    def take_up(self, key: tuple[str, str], work: Callable[[Progress], T]) -> Job[T]:
        """Give the work under way for `key`, begun now if there is none."""
        with self._lock:
            job = self._jobs.get(key)
            if job is None or job.stopped:
                job = Job[object]().begin(work, self._workers)
                self._jobs[key] = job
            return job  # type: ignore[return-value]

    def forget(self, key: tuple[str, str]) -> None:
        """Forget work that has ended."""
        with self._lock:
            self._jobs.pop(key, None)
