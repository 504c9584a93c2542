"""Rides of known truth by forward dynamics; shares no formula with the estimator."""
