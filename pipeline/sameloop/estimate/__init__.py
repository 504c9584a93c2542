"""CdA and Crr with their uncertainty, from laps on a shared road."""
