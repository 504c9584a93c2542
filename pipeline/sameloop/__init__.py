"""Find out from laps of one loop whether a change to bike or rider really helped."""

__version__ = "0.1.0"
