"""Differences between setups, the verdict, and where its uncertainty comes from."""
