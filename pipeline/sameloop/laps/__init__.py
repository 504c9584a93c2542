"""Find the loop and its laps and lay them on one road coordinate."""
