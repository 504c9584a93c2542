"""Differences between setups, the verdict, and where its uncertainty comes from."""

from sameloop.compare.together import compare

__all__ = ["compare"]
