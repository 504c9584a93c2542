"""Answer many studies on local processes or an existing cluster, through one code path."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING

from sameloop.batch.answer_one import Row, answer_one, failure, identified
from sameloop.batch.cluster import connected
from sameloop.batch.find import Found, find_studies
from sameloop.batch.results import Results
from sameloop.errors import SameloopError

if TYPE_CHECKING:
    from distributed import Client, Future

    from sameloop.run import Progress

_KEEP_EVERY = 10.0  # s; what a kill of this process costs at most
_LOOK = 10.0  # s between looks whether there are workers
_LOOKS_ALONE = 6  # a supervisor starts a dead worker again sooner
_AHEAD = 4  # studies for each worker's thread that wait at the scheduler


def run_batch(
    folders: Sequence[str],
    results: Results,
    *,
    cluster: str | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> int:
    """Answer every study below `folders` whose answer is not in `results` yet.

    Parameters
    ----------
    folders : sequence of str
        Local folders or URLs that fsspec knows; the workers must see them by the same names.
    results : Results
        Added to every few seconds, so that a batch that was killed goes on where it stood.
    cluster : str, optional
        Address of a scheduler; by default processes are started on this machine.
    workers : int, optional
        How many of those; by default one for each core.
    progress : callable, optional
        Told how far it is.

    Returns
    -------
    int
        How many studies were answered or refused now.

    Raises
    ------
    SameloopError
        A folder cannot be listed, the cluster cannot be reached or is lost, or the results cannot
        be written.
    """
    studies = find_studies(folders)
    done = results.keep_only(studies)
    todo = [found for found in studies if found.url not in done]
    if not todo:
        return 0
    rows: list[Row] = []
    kept = time.monotonic()
    where = f"--cluster {cluster}" if cluster else "batch"
    with connected(cluster, workers) as client:
        try:
            for number, answered in enumerate(_answers(client, todo, where), len(done) + 1):
                rows += answered
                if progress:
                    progress(f"{number} of {len(studies)} studies", number / len(studies))
                if time.monotonic() - kept > _KEEP_EVERY:
                    results.add(rows)
                    rows, kept = [], time.monotonic()
        finally:  # an interrupted batch keeps what it has
            if rows:
                results.add(rows)
    return len(todo)


def _answers(client: Client, todo: Sequence[Found], where: str) -> Iterator[list[Row]]:
    """Give the rows of each study as it is done.

    Raises
    ------
    SameloopError
        The scheduler is lost, or all workers are for a minute.
    """
    from distributed.client import ClosedClientError, FuturesCancelledError

    try:
        yield from _as_done(client, todo, where)
    except (ClosedClientError, FuturesCancelledError, OSError):
        raise SameloopError(
            f"{where}: the scheduler was lost; what was answered is kept, so start it and run the "
            "same command again."
        ) from None


def _as_done(client: Client, todo: Sequence[Found], where: str) -> Iterator[list[Row]]:
    """Hand out studies, few at a time, and give the rows of each."""
    from distributed import wait

    waiting = iter(todo)
    under_way: dict[Future, Found] = {}
    looks_alone = 0
    while True:
        count = room(threads=_threads(client), under_way=len(under_way))
        for found in islice(waiting, count):
            under_way[client.submit(answer_one, found, pure=False)] = found
        if not under_way:
            return
        try:
            done = wait(list(under_way), timeout=_LOOK, return_when="FIRST_COMPLETED").done
            for future in done:
                yield _rows(future, under_way[future])
                del under_way[future]
            looks_alone = 0
        except TimeoutError:
            looks_alone = 0 if _threads(client) else looks_alone + 1
            if looks_alone == _LOOKS_ALONE:
                raise SameloopError(
                    f"{where}: no worker has been there for {_LOOK * _LOOKS_ALONE:.0f} s; what was "
                    "answered is kept, so see that workers run (dask worker) and run the same "
                    "command again."
                ) from None


def _rows(future: Future, found: Found) -> list[Row]:
    """Give the rows of a study that is done; its worker may yet die before it handed them over.

    Then it is worked out anew, for which this waits as long as for a look.
    """
    error = future.exception(timeout=_LOOK)
    if error is not None:  # e.g. a study that took several workers down with it
        return [identified(found, failure(error))]
    rows: list[Row] = future.result(timeout=_LOOK)
    return rows


def _threads(client: Client) -> int:
    """Count the threads of all workers now; a cluster may grow and shrink."""
    return int(sum(client.nthreads().values()))


def room(*, threads: int, under_way: int) -> int:
    """Say how many more studies to hand out; none while a dead worker's are left over."""
    return max(0, _AHEAD * max(1, threads) - under_way)
