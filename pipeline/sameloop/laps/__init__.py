"""Find the loop and its laps and lay them on one road coordinate."""

from sameloop.laps.find import find_laps

__all__ = ["find_laps"]
