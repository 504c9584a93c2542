"""Differences between setups, the verdict, and where its uncertainty comes from."""

from sameloop.compare.differences import compare

__all__ = ["compare"]
