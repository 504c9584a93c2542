"""Read ride files and weather into plain records."""

from sameloop.ingest.read import read_ride

__all__ = ["read_ride"]
