"""Warn of an air-speed sensor that cannot be right, and do without one that the laps contradict."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from sameloop.air.conditions import RideAir
from sameloop.answer import StudyLaps
from sameloop.clean.clean import AIR_IGNORED
from sameloop.estimate import estimate
from sameloop.estimate.fit import Fit
from sameloop.estimate.noise import noise_value
from sameloop.estimate.result import Estimate, Warning_
from sameloop.road.stretches import Stretches
from sameloop.study import Study

_LIMIT = 3.5  # standard deviations from which a scale is no luck
_MUCH_NOISE = 1.0  # m/s at one sample a second, four times a usual sensor's
_MUCH_SWAY = 0.06  # of the scale, six times a usual sensor's
_MUCH_IGNORED = 0.05  # of a ride's readings


def air_sensor_warnings(found: StudyLaps) -> Iterator[Warning_]:
    """Tell of readings that were not used, since they cannot be true."""
    for track in found.tracks:
        gone = [item for item in track.dropped if AIR_IGNORED in item.reason]
        count = sum(item.count for item in gone)
        if count <= _MUCH_IGNORED * len(track.time):
            continue
        worst = max(gone, key=lambda item: item.count)
        text = (
            f"{count} of {len(track.time)} readings of the air speed cannot be true and were not "
            f"used, most of them for this reason: {worst.reason.partition(' (')[0]}; check the "
            "sensor, the unit of its field or column, and that nothing covers it"
        )
        yield Warning_(code="air_speed_ignored", text=text, where=track.file)


def trusted_estimate(
    stretches: Stretches, study: Study, airs: Sequence[RideAir]
) -> tuple[Stretches, Estimate]:
    """Estimate with the air-speed sensor, or without it where the laps speak against it.

    Returns
    -------
    Stretches
        Without air speeds where the sensor is not trusted.
    Estimate
        With a warning for each reason not to trust it.
    """
    found = estimate(stretches, study, airs)
    doubts = tuple(_doubts(found.fit, stretches, study))
    if not doubts:
        return stretches, found
    deaf = replace(stretches, air_speed=np.full_like(stretches.air_speed, np.nan))
    found = estimate(deaf, study, airs)
    return deaf, replace(found, warnings=(*found.warnings, *doubts))


def _doubts(fit: Fit, stretches: Stretches, study: Study) -> Iterator[Warning_]:
    """Tell of a scale or noise that, as the laps show them, are not a working sensor's."""
    if not fit.balance.air_usable.any():
        return
    shared, sd = _learnt(fit, "air-speed scale")
    if abs(shared) > _LIMIT * sd:
        yield _doubt(
            f"The air-speed sensor reads {_more(shared)} than the laps show, far from what "
            "air_speed_pct allows: check its calibration, its unit and its place on the bike"
        )
    for ride in np.unique(stretches.ride):
        change, sd = _learnt(fit, f"air-speed scale, as mounted:{ride}")
        if abs(change) > _LIMIT * sd:
            yield _doubt(
                f"The air-speed sensor read {_more(change)} on this ride than on the others: if it "
                "was moved, or you sat otherwise under it, state air_speed_between_rides_pct",
                study.rides[ride].file,
            )
    noise, sway = noise_value(fit.log_noise, "air"), noise_value(fit.log_noise, "sway")
    if noise > _MUCH_NOISE or sway > _MUCH_SWAY:
        yield _doubt(
            f"The air speed does not go with the laps: its noise is {noise:.1f} m/s a second and "
            f"its scale sways by {100 * sway:.0f} %; check that the sensor is free, points ahead "
            "and works"
        )


def _doubt(text: str, where: str = "") -> Warning_:
    return Warning_(code="air_speed_doubtful", text=f"{text}; it was not used", where=where)


def _learnt(fit: Fit, name: str) -> tuple[float, float]:
    """Value of an unknown, and how large it may get by luck.

    What the laps learn of an unknown has its declared variance less what is left of it (Hausman
    1978, Econometrica 46:1251-1271).
    """
    place = int(fit.layout.declared[fit.layout.nuisance.index(name)])
    row = fit.prior.rows[:, [place]].nonzero()[0][0]  # the one statement about it
    declared = float(fit.prior.sd[row])
    left = float(fit.solved.inverse[place, place])
    return float(fit.x[place]), math.sqrt(max(declared**2 - left, 1e-12))


def _more(share: float) -> str:
    return f"{100 * abs(share):.0f} % {'more' if share > 0 else 'less'}"
