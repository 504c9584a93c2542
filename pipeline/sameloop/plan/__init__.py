"""How many laps, in which order."""
