"""Reach the workers: processes started on this machine, or those of an existing cluster."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sameloop.errors import SameloopError

if TYPE_CHECKING:
    from distributed import Client

_PATIENCE = 10.0  # s, to reach a scheduler
#: A worker samples its stack a hundred times a second for a status page that is not shown here, and
#: holds the samples of its last 1000 s: some 350 MiB.
_NO_SAMPLES = {"distributed.worker.profile.enabled": False}


@contextmanager
def connected(address: str | None, workers: int | None) -> Iterator[Client]:
    """Give a client of the scheduler at `address`, or of new processes on this machine.

    Parameters
    ----------
    address : str or None
        Of a scheduler, e.g. ``tcp://host:8786``.
    workers : int or None
        How many processes without an address; None for one on each core.

    Raises
    ------
    SameloopError
        The packages are missing, or no scheduler answers at the address.
    """
    try:
        import dask.config
        from distributed import Client, LocalCluster
    except ImportError:
        raise SameloopError(
            "The packages for many studies are not installed; run pip install '.[batch]' in the "
            "folder that holds sameloop's README.md."
        ) from None
    if address is None:
        # By default its status page could be seen from other machines.
        here = {"host": "127.0.0.1", "dashboard_address": "127.0.0.1:0"}
        with (
            dask.config.set(_NO_SAMPLES),
            LocalCluster(n_workers=workers, threads_per_worker=1, **here) as local,
            Client(local) as client,
        ):
            yield client
        return
    # What it logs of a lost scheduler is said in one sentence by whoever uses the client.
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
    try:
        client = Client(address, timeout=_PATIENCE)
    except (OSError, ValueError) as error:
        raise SameloopError(
            f"--cluster {address}: no scheduler answers ({error}); start one with dask scheduler "
            "and name its address, e.g. tcp://host:8786."
        ) from None
    with client:
        yield client
