"""Many studies at once: find them, answer each on its own, keep the answers as one table."""
