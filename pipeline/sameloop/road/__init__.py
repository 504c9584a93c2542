"""The power balance of a bicycle on a road."""
