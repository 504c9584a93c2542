"""Mark what the power balance cannot use, and say why."""

from sameloop.clean.clean import clean_ride

__all__ = ["clean_ride"]
