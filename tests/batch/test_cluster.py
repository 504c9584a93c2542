"""The processes that are started on this machine."""

from sameloop.batch.cluster import connected


def test_workers_here_hold_no_samples_of_their_stack():
    """They would take 20 MiB a minute; the samples are for a status page."""
    with connected(None, 1) as client:
        (callbacks,) = client.run(lambda dask_worker: list(dask_worker.periodic_callbacks)).values()
    assert "heartbeat" in callbacks
    assert "profile" not in callbacks
