"""How large the largest of several correlated normal numbers gets by luck."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from sameloop.clean.track import FloatArray

_DRAWS, _AT_ONCE = 20_000, 1_000  # so many at once as fit the processor's cache
_APART = 1e-5  # variance of their own, for numbers that depend on one another altogether
_SEED = 20_260_522  # any; the same numbers give the same limit


def largest_by_luck(covariance: FloatArray, chance: float) -> float:
    """Size that the largest of standardised normal numbers exceeds with probability `chance`.

    Their joint distribution is drawn with a fixed seed. Where they overlap, this spares the loss
    of counting each as a look of its own.

    Parameters
    ----------
    covariance : array, (k, k)
        May be singular; numbers without variance are left out.

    Returns
    -------
    float
        Infinite when there is none.
    """
    drawn = list(_largest(covariance))
    return float(np.quantile(np.concatenate(drawn), 1 - chance)) if drawn else np.inf


def beyond_luck(covariance: FloatArray, size: float, chance: float) -> bool:
    """Whether the largest gets beyond `size` with probability `chance` at most.

    As with `largest_by_luck`, but drawing ends as soon as it has done so too often, as it soon
    does where nothing is wrong.
    """
    beyond, left = 0, chance * _DRAWS
    for drawn in _largest(covariance):
        beyond += int((drawn > size).sum())
        if beyond > left:
            return False
    return bool(np.any(np.diag(covariance) > 0))


def _largest(covariance: FloatArray) -> Iterator[FloatArray]:
    """Draw the largest of the numbers, some at a time; nothing where none has a variance."""
    seen = np.diag(covariance) > 0
    if not seen.any():
        return
    inside = covariance[np.ix_(seen, seen)]
    sd = np.sqrt(np.diag(inside))
    alike = inside / np.outer(sd, sd) + _APART * np.eye(len(sd))
    # Seven digits are plenty for a limit that the draws know to two.
    factor = np.linalg.cholesky(alike).astype(np.float32)
    generator = np.random.default_rng(_SEED)
    for _ in range(_DRAWS // _AT_ONCE):
        normal = generator.standard_normal((_AT_ONCE, factor.shape[1]), dtype=np.float32)
        yield np.abs(normal @ factor.T).max(axis=1)
