"""Plan a test: what it can detect, the laps it needs, the order to ride in, a sheet to print."""

from sameloop.plan.make import plan
from sameloop.plan.wish import Wish, make_wish

__all__ = ["Wish", "make_wish", "plan"]
