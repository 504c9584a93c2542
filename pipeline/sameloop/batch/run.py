"""Answer many studies on local processes or an existing cluster, through one code path."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import TYPE_CHECKING

from sameloop.batch.answer_one import Row, answer_one, failure, identified
from sameloop.batch.find import Found, find_studies
from sameloop.batch.results import Results
from sameloop.errors import SameloopError

if TYPE_CHECKING:
    from distributed import Client, Future

    from sameloop.run import Progress

_KEEP_EVERY = 10.0  # s; what a kill of this process costs at most
_PATIENCE = 10.0  # s, to reach a scheduler
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
        A folder cannot be listed, the cluster cannot be reached or the results not be written.
    """
    studies = find_studies(folders)
    done = results.keep_only(studies)
    todo = [found for found in studies if found.url not in done]
    if not todo:
        return 0
    rows: list[Row] = []
    kept = time.monotonic()
    with _client(cluster, workers) as client:
        try:
            for number, answered in enumerate(_answers(client, todo), len(done) + 1):
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


def _answers(client: Client, todo: Sequence[Found]) -> Iterator[list[Row]]:
    """Give the rows of each study as it is done; few wait at the scheduler at any time."""
    from distributed import as_completed

    waiting = iter(todo)
    of: dict[Future, Found] = {}

    def submit(count: int) -> list[Future]:
        new = {client.submit(answer_one, one, pure=False): one for one in islice(waiting, count)}
        of.update(new)
        return list(new)

    queue = as_completed(submit(room(threads=_threads(client), under_way=0)), raise_errors=False)
    for future in queue:
        found = of.pop(future)
        if future.status == "finished":
            yield future.result()
        else:  # e.g. a study that took several workers down with it
            error = future.exception() or RuntimeError(f"the task was {future.status}")
            yield [identified(found, failure(error))]
        for new in submit(room(threads=_threads(client), under_way=len(of))):
            queue.add(new)


def _threads(client: Client) -> int:
    """Count the threads of all workers now; a cluster may grow and shrink."""
    return int(sum(client.nthreads().values()))


def room(*, threads: int, under_way: int) -> int:
    """Say how many more studies to hand out; none while a dead worker's are left over."""
    return max(0, _AHEAD * max(1, threads) - under_way)


@contextmanager
def _client(cluster: str | None, workers: int | None) -> Iterator[Client]:
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise SameloopError(
            "The packages for many studies are not installed; run pip install 'sameloop[batch]'."
        ) from None
    if cluster is None:
        # By default its status page could be seen from other machines.
        here = {"host": "127.0.0.1", "dashboard_address": "127.0.0.1:0"}
        with (
            LocalCluster(n_workers=workers, threads_per_worker=1, **here) as local,
            Client(local) as client,
        ):
            yield client
        return
    try:
        client = Client(cluster, timeout=_PATIENCE)
    except (OSError, ValueError) as error:
        raise SameloopError(
            f"--cluster {cluster}: no scheduler answers ({error}); start one with dask scheduler "
            "and name its address, e.g. tcp://host:8786."
        ) from None
    with client:
        yield client
