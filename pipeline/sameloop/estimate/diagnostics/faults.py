"""Find the faults that the laps show: odd laps, jumps, drifts, patches of road, wide scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sameloop.air.conditions import RideAir
from sameloop.estimate.diagnostics.admit import fit_without_force
from sameloop.estimate.diagnostics.rest import Rest, as_fitted, with_ordinary_noise
from sameloop.estimate.diagnostics.score import Scores, scores, together
from sameloop.estimate.diagnostics.shapes import (
    Drift,
    Shape,
    drifts,
    jumps,
    odd_laps,
    patches,
)
from sameloop.estimate.extremes import beyond_luck
from sameloop.estimate.fit import Fit
from sameloop.road.stretches import Stretches
from sameloop.study import Study

#: Share of clean studies in which each kind may speak up; counted on simulated clean studies.
_LAP_LEVEL = 0.002
_PATCH_LEVEL = 0.003
_SCATTER_LEVEL = 0.001
#: Size in standard deviations from which a shape is worth a second fit, at least.
_SUSPECT = 2.5
#: Size that a fault must about have in the end, and the share of it that is enough for suspicion.
_CLEAR, _SHARE = 4.0, 0.85
#: Chi-square that the choice of a lap or moment brings of itself: twice the log of some twelve.
_CHOICE = 5.0
#: Meters drift by so much [W/h], one sd; a larger one is rather a jump. Common practice, no source.
_USUAL_DRIFT = 45.0
_MOST = 2  # faults of laps that are named, each of which costs a fit; more say that nothing fits
#: Two shapes explain a fault about as well when their chi-squares differ by less than this.
_RIVAL = 6.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finding:
    """A force that cannot be luck: its shape, amplitude [N, or W/h of a drift] and its sd.

    `rivals` names the other kinds of shape that explain it about as well.
    """

    shape: Shape
    amplitude: float
    sd: float
    rivals: frozenset[type] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Faults:
    """All findings, the clearest first, and the setups whose laps disagree without a culprit."""

    findings: tuple[Finding, ...]
    scattered: tuple[int, ...]


def find_faults(fit: Fit, stretches: Stretches, study: Study, airs: Sequence[RideAir]) -> Faults:
    """Look for forces that the model does not know of.

    Returns
    -------
    Faults
    """
    shapes: list[Shape] = [*odd_laps(fit), *jumps(fit, stretches), *drifts(fit, stretches)]
    taken, clean = _take_out(fit, stretches, study, airs, shapes)
    findings = (*_judged(clean, shapes, taken), *_on_road(fit, stretches))
    scattered = _scattered(clean if findings else fit, stretches)
    return Faults(findings=findings, scattered=scattered)


def _take_out(
    fit: Fit,
    stretches: Stretches,
    study: Study,
    airs: Sequence[RideAir],
    shapes: Sequence[Shape],
) -> tuple[dict[int, float], Fit]:
    """Take out the strongest suspects one after the other; return their amplitudes, the fit left.

    All go before any is judged: beside a second fault the first would not stand out.
    """
    taken: dict[int, float] = {}
    out = fit
    while len(taken) < _MOST:
        # By the fitted noise of laps a second fault would excuse itself.
        found = scores(with_ordinary_noise(out), [shape.force for shape in shapes])
        best = _likeliest(shapes, found)
        if best in taken or np.abs(found.z[best]) < _suspect(len(stretches.ride)):
            break
        taken[best] = float(found.amplitude[best])
        n_laps = len(stretches.ride)
        parts = [size * shapes[k].force.on_all(n_laps) for k, size in taken.items()]
        out = fit_without_force(fit, stretches, study, airs, np.sum(parts, axis=0))
    return taken, out


def _suspect(n_laps: int) -> float:
    """Size from which a shape is suspect: among few laps a fault hides behind noise of its own."""
    return max(_SUSPECT, _SHARE * _CLEAR / math.sqrt(1 + _CLEAR**2 / n_laps))


def _likeliest(shapes: Sequence[Shape], found: Scores) -> int:
    """Index of the strongest shape, less what a free choice brings or a huge drift costs."""
    price = [
        (amplitude / _USUAL_DRIFT) ** 2 if isinstance(shape, Drift) else _CHOICE
        for shape, amplitude in zip(shapes, found.amplitude, strict=True)
    ]
    return int((found.z**2 - np.array(price)).argmax())


def _judged(clean: Fit, shapes: Sequence[Shape], taken: dict[int, float]) -> list[Finding]:
    """Judge the suspects by the noise that is left without them."""
    if not taken:
        return []
    found = scores(as_fitted(clean), [shape.force for shape in shapes])
    places = list(taken)
    covariance = np.linalg.inv(found.information[np.ix_(places, places)])
    amplitude = np.array(list(taken.values())) + covariance @ found.score[places]
    sd = np.sqrt(np.diag(covariance))
    findings = [
        Finding(
            shape=shapes[place],
            amplitude=float(amplitude[k]),
            sd=float(sd[k]),
            rivals=_rivals(shapes, found, place, float(amplitude[k])),
        )
        for k, place in enumerate(places)
        if beyond_luck(found.information, abs(amplitude[k]) / sd[k], _LAP_LEVEL)
    ]
    return sorted(findings, key=lambda one: -abs(one.amplitude) / one.sd)


def _rivals(
    shapes: Sequence[Shape], found: Scores, place: int, amplitude: float
) -> frozenset[type]:
    """Other kinds of shape that explain about as much of the force that was taken out."""
    z = found.z + amplitude * found.information[:, place] * found.sd
    gap = z[place] ** 2 - z**2
    return frozenset(
        type(shape) for shape, less in zip(shapes, gap, strict=True) if less < _RIVAL
    ) - {type(shapes[place])}


def _on_road(fit: Fit, stretches: Stretches) -> list[Finding]:
    """Name the clearest patch of road that some laps share and others do not."""
    places = patches(fit, stretches)
    found = scores(as_fitted(fit), [place.force for place in places])
    if not len(places):
        return []
    best = int(np.abs(found.z).argmax())
    if not beyond_luck(found.information, abs(float(found.z[best])), _PATCH_LEVEL):
        return []
    amplitude, sd = float(found.amplitude[best]), float(found.sd[best])
    return [Finding(shape=places[best], amplitude=amplitude, sd=sd)]


def _scattered(fit: Fit, stretches: Stretches) -> tuple[int, ...]:
    """Setups whose laps disagree, by chi-square beside ordinary noise."""
    rest: Rest = with_ordinary_noise(fit)
    found = scores(rest, [shape.force for shape in odd_laps(fit)])
    setups = np.unique(stretches.setup)
    out = []
    for setup in setups:
        laps = np.flatnonzero(stretches.setup == setup)
        mine = Scores(score=found.score[laps], information=found.information[np.ix_(laps, laps)])
        if together(mine) < _SCATTER_LEVEL / len(setups):
            out.append(int(setup))
    return tuple(out)
