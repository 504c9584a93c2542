"""CdA and Crr with their uncertainty, from laps on a shared road."""

from sameloop.estimate.estimate import estimate

__all__ = ["estimate"]
