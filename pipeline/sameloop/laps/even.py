"""Even gates for laps of one length whose button was pressed early and late."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from sameloop.clean.track import FloatArray

_PRESS = 10.0  # m by which a press misses the line, until presses tell: a second's riding
_PRESS_WEIGHT = 4.0  # presses that this counts for
_WANDERS = np.geomspace(0.03, 3.0, 12)  # lap length's own scatter over that of presses
_SURE = 0.98  # that laps of different lengths are not presses by luck
_CLIP = 2.5  # press errors; what is further off pulls no harder than one there
_ROUNDS = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EvenGates:
    """Gates of several runs of laps.

    Parameters
    ----------
    gates : tuple of array, (n_presses,)
        Wheel distance [m] of each gate of each run.
    length : float
        A lap's length, common to the runs [m].
    run_sd : tuple of float
        What stays open of the length of each run's laps, beside what all runs share [m].
    press_sd, lap_sd : float
        By how much presses miss the line, and laps their common length [m].
    """

    gates: tuple[FloatArray, ...]
    length: float
    run_sd: tuple[float, ...]
    press_sd: float
    lap_sd: float


def even_gates(runs: Sequence[FloatArray], wheel_sd: float) -> EvenGates:
    """Take press errors out of the gates of runs of laps on end.

    A press at wheel distance ``y_k`` is ``phase + k length + e_k``: one phase and one length for
    each run, because tyres and their pressure change between runs only. What a run says of its
    length is drawn towards the length of all runs, by as much as its presses leave open and wheels
    are alike. Laps are taken as equally long unless the presses say otherwise: late and early
    presses average out along a run, while true differences of length add up, and then the lengths
    wander as the presses' own scatter tells.

    Parameters
    ----------
    runs : sequence of array, (n_presses,)
        Wheel distance at the presses of each run [m].
    wheel_sd : float
        By how much the wheels of runs differ from their mean, at least: relative sd [-].

    References
    ----------
    What stays open of a length drawn towards a mean: Lindley & Smith 1972, J R Stat Soc B 34:1-41.
    Restricted likelihood: Patterson & Thompson 1971, Biometrika 58:545-554. Clipped residuals:
    Huber 1981, Robust Statistics, 7.8. Spread between runs by moments: DerSimonian & Laird 1986,
    Controlled Clinical Trials 7:177-188. All from memory.
    """
    ratio = _wander(runs)
    models = [_Model.of(len(run), ratio) for run in runs]
    clipped = [_clipped(run, model) for run, model in zip(runs, models, strict=True)]
    lines = [model.line(run) for run, model in zip(clipped, models, strict=True)]
    press = np.sqrt(_press_variance(clipped, models))
    slopes = np.array([line[1] for line in lines])
    variances = press**2 * np.array([model.unsure[1, 1] for model in models])
    apart = max((wheel_sd * float(np.median(slopes))) ** 2, _between(slopes, variances))
    own, common = _drawn_together(slopes, variances, apart)
    return EvenGates(
        gates=tuple(
            model.smooth(run, slope)
            for run, model, slope in zip(clipped, models, own.tolist(), strict=True)
        ),
        length=common,
        run_sd=tuple(np.sqrt(apart * variances / (apart + variances)).tolist()),
        press_sd=float(press),
        lap_sd=float(ratio * press),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Model:
    """Of a run's presses: a line in the lap number, lap lengths that wander, press errors.

    `line_of` columns of the line, `weight` inverse covariance of the presses and `unsure`
    covariance of the line, both in press variances.
    """

    line_of: FloatArray
    weight: FloatArray
    unsure: FloatArray

    @classmethod
    def of(cls, count: int, ratio: float) -> _Model:
        number = np.arange(count, dtype=np.float64)
        line_of = np.stack([np.ones(count), number - number.mean()], axis=1)
        wander = ratio**2 * np.minimum.outer(number, number)
        weight = np.asarray(np.linalg.inv(np.eye(count) + wander), dtype=np.float64)
        unsure = np.asarray(np.linalg.inv(line_of.T @ weight @ line_of), dtype=np.float64)
        return cls(line_of=line_of, weight=weight, unsure=unsure)

    def line(self, presses: FloatArray) -> FloatArray:
        """Phase at the run's middle and metres a lap, by generalised least squares."""
        found: FloatArray = self.unsure @ self.line_of.T @ self.weight @ presses
        return found

    def smooth(self, presses: FloatArray, slope: float) -> FloatArray:
        """Gates of laps of `slope` metres, give or take what they wander."""
        bare = presses - slope * self.line_of[:, 1]
        bare = bare - self.weight.sum(axis=0) @ bare / self.weight.sum()
        gates: FloatArray = presses - self.weight @ bare
        return gates

    def misfit(self, presses: FloatArray) -> float:
        """Sum of squares of the presses about their line, in press variances."""
        off = presses - self.line_of @ self.line(presses)
        return float(off @ self.weight @ off)


def _wander(runs: Sequence[FloatArray]) -> float:
    """Scatter of lap lengths over that of presses; 0 unless the presses insist."""
    even = _likelihood(runs, 0.0)
    likelihoods = [_likelihood(runs, ratio) for ratio in _WANDERS.tolist()]
    best = int(np.argmax(likelihoods))
    insist = 2 * (likelihoods[best] - even) > chi2.ppf(_SURE, 1)
    return float(_WANDERS[best]) if insist else 0.0


def _likelihood(runs: Sequence[FloatArray], ratio: float) -> float:
    """Restricted log-likelihood of all presses, less a constant."""
    models = [_Model.of(len(run), ratio) for run in runs]
    free = sum(len(run) - 2 for run in runs) + _PRESS_WEIGHT
    twice = free * np.log(_press_variance(runs, models))
    for model in models:
        twice -= np.linalg.slogdet(model.weight)[1] + np.linalg.slogdet(model.unsure)[1]
    return float(-twice / 2)


def _press_variance(runs: Sequence[FloatArray], models: Sequence[_Model]) -> float:
    misfit = sum(model.misfit(run) for run, model in zip(runs, models, strict=True))
    free = sum(len(run) - 2 for run in runs)
    return float((misfit + _PRESS_WEIGHT * _PRESS**2) / (free + _PRESS_WEIGHT))


def _clipped(presses: FloatArray, model: _Model) -> FloatArray:
    """Presses, with those brought nearer that are far from all others."""
    near = presses
    for _ in range(_ROUNDS):
        gates = model.smooth(near, float(model.line(near)[1]))
        off = presses - gates
        most = _CLIP * 1.4826 * float(np.median(np.abs(off)))
        near = gates + np.clip(off, -most, most)
    return near


def _drawn_together(
    slopes: FloatArray, variances: FloatArray, apart: float
) -> tuple[FloatArray, float]:
    """Metres a lap of each run, drawn towards all others, and the mean of the runs.

    `apart` is the variance by which the runs' true lengths differ.
    """
    weight = 1 / (variances + apart)
    common = float(weight @ slopes / weight.sum())
    return common + apart * weight * (slopes - common), common


def _between(slopes: FloatArray, variances: FloatArray) -> float:
    """Variance of the runs' true lengths that explains how far they lie apart."""
    weight = 1 / variances
    off = slopes - weight @ slopes / weight.sum()
    room = float(weight.sum() - weight @ weight / weight.sum())
    if len(slopes) < 2 or room <= 0:
        return 0.0
    return float((weight @ off**2 - (len(slopes) - 1)) / room)
