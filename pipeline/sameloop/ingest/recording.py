"""What a format reader hands over, and how every format becomes one `Ride`."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sameloop.errors import RideFileError
from sameloop.ingest.ride import CHANNELS, Dropped, RecordedLap, Ride

IntArray = NDArray[np.int64]
Span = tuple[pd.Timestamp, pd.Timestamp]

LOWEST, HIGHEST = -500.0, 9000.0  # m, of any road; a barometer may be some 100 m off
FASTEST = 40.0  # m/s, and more than any ride's mean
NEARBY = 10_000.0  # m, by which satellites may be wrong and a ride still be told from another place
_EARTH = 6_371_000.0  # m
_BACKWARDS = 10  # falls of the time, and times as many as rises, are no clock set back
_MOST_POWER = 1e9  # W, stands for what no number can hold
COLDEST, HOTTEST = 213.15, 333.15  # K, -60 to 60 °C, as for the weather of a study
IMPOSSIBLE_TEMPERATURE = "impossible temperature"
SECOND = 1_000_000_000  # in the nanoseconds of our time column


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording:
    """Records in file order, SI units, times not yet checked.

    Parameters
    ----------
    format : str
        As in `Ride`.
    records : DataFrame
        ``time`` (UTC, NaT where missing) and any other of `CHANNELS`.
    laps, pauses : tuple of (start, end)
        UTC, in file order; a lap may have NaT.
    dropped : tuple of Dropped
        What the reader itself had to leave out.
    assumptions : tuple of str
        As in `Ride`.
    """

    format: str
    records: pd.DataFrame
    laps: tuple[Span, ...] = ()
    pauses: tuple[Span, ...] = ()
    dropped: tuple[Dropped, ...] = ()
    assumptions: tuple[str, ...] = ()


def as_time_column(times: Any) -> pd.Series[pd.Timestamp]:
    """Turn times (ISO 8601 text, datetimes) into nanoseconds UTC; what cannot be read is NaT.

    A time without an offset is taken as UTC.
    """
    parsed: Any = pd.Series(pd.to_datetime(times, format="ISO8601", errors="coerce", utc=True))
    # Nanoseconds reach from 1678 to 2261; outside, a time stamp is as good as missing.
    parsed = parsed.where((parsed.dt.year > 1970) & (parsed.dt.year < 2200))
    column: pd.Series[pd.Timestamp] = parsed.dt.as_unit("ns")
    return column


def to_ride(recording: Recording, *, file: str, sha256: str) -> Ride:
    """Order the records, spread or merge repeated times, and count all that is left out.

    Raises
    ------
    RideFileError
        No record carries a usable time, they run backwards, or latitude and longitude are swapped.
    """
    dropped = list(recording.dropped)
    samples = _with_all_channels(recording.records, dropped)
    samples = _keep(samples, samples["time"].notna().to_numpy(), "no time stamp", dropped)
    if samples.empty:
        raise RideFileError(
            file,
            f"none of its {len(recording.records)} records carries a usable time",
            "export the recorded ride itself, not a planned route, or take the device's own file",
        )
    _refuse_backward_times(_nanoseconds(samples), file)
    keep = rising(_nanoseconds(samples))
    samples = _keep(samples, keep, "time stamp out of order", dropped)
    samples = _separate_repeated_times(samples, dropped)
    _refuse_swapped_positions(samples, file)
    samples = _without_impossible_positions(samples, dropped)
    samples = _without_far_positions(samples, dropped)
    samples = _within(samples, "altitude", LOWEST, HIGHEST, "impossible altitude", dropped)
    samples = _within(samples, "temperature", COLDEST, HOTTEST, IMPOSSIBLE_TEMPERATURE, dropped)
    laps = _number_laps(recording.laps, dropped)
    return Ride(
        file=file,
        sha256=sha256,
        format=recording.format,
        samples=samples,
        laps=laps,
        pauses=_real_pauses(recording.pauses, samples),
        dropped=tuple(dropped),
        assumptions=recording.assumptions,
    )


def rising(times: IntArray) -> NDArray[np.bool_]:
    """Mask of a longest subsequence of `times` that never falls, ``(n,)``.

    Keeping the most records means that one wild clock reading costs one record, not all that
    follow it. Patience sorting: Fredman, Discrete Mathematics 11 (1975) 29-35.
    """
    if np.all(np.diff(times) >= 0):
        return np.ones(times.size, dtype=bool)
    tails: list[int] = []  # smallest last time of a subsequence of each length
    tail_at: list[int] = []
    previous = np.full(times.size, -1)
    for i, time in enumerate(times.tolist()):
        length = bisect_right(tails, time)
        if length == len(tails):
            tails.append(time)
            tail_at.append(i)
        else:
            tails[length], tail_at[length] = time, i
        previous[i] = tail_at[length - 1] if length else -1
    keep = np.zeros(times.size, dtype=bool)
    at = tail_at[-1]
    while at >= 0:
        keep[at] = True
        at = int(previous[at])
    return keep


def _with_all_channels(records: pd.DataFrame, dropped: list[Dropped]) -> pd.DataFrame:
    samples = records.reindex(columns=list(CHANNELS))
    samples["time"] = as_time_column(samples["time"])
    for channel in CHANNELS[1:]:
        values = samples[channel].to_numpy(dtype=np.float64)
        if channel == "power":  # an impossible power, as cleaning will say, and no missing one
            values = np.clip(values, -_MOST_POWER, _MOST_POWER)
        endless = np.isinf(values)
        if endless.any():
            dropped.append(Dropped(reason=f"{channel} is infinite", count=int(endless.sum())))
        samples[channel] = np.where(endless, np.nan, values)
    return samples


def _nanoseconds(samples: pd.DataFrame) -> IntArray:
    return samples["time"].to_numpy(dtype="datetime64[ns]").astype(np.int64)


def _refuse_backward_times(times: IntArray, file: str) -> None:
    steps = np.diff(times)
    falls = np.sum(steps < 0)
    if falls > _BACKWARDS and np.sum(steps > 0) < falls / _BACKWARDS:
        raise RideFileError(file, "its times run backwards", "sort the rows by time, oldest first")


def _keep(
    samples: pd.DataFrame, mask: NDArray[np.bool_], reason: str, dropped: list[Dropped]
) -> pd.DataFrame:
    if not mask.all():
        dropped.append(Dropped(reason=reason, count=int((~mask).sum())))
    return samples[mask].reset_index(drop=True)


def _separate_repeated_times(samples: pd.DataFrame, dropped: list[Dropped]) -> pd.DataFrame:
    times = _nanoseconds(samples)
    repeated = int(samples["time"].duplicated().sum())
    if not repeated:
        return samples
    # Several records a second are a faster rhythm only if one channel has a value in each;
    # else they are the parts of one record, or a record written twice.
    by_time = samples.groupby("time", sort=False)
    per_second = int(by_time.count().median().max())
    if per_second >= 2 and not np.any(times % SECOND):
        rank = by_time.cumcount().to_numpy()
        size = np.maximum(by_time["time"].transform("size").to_numpy(), per_second)
        spread = times + rank * SECOND // size
        dropped.append(
            Dropped(
                reason="times in whole seconds, spread evenly over their second", count=repeated
            )
        )
        return samples.assign(time=pd.to_datetime(spread, unit="ns", utc=True))
    dropped.append(Dropped(reason="repeated time stamp, merged into one record", count=repeated))
    return by_time.first().reset_index()[list(CHANNELS)]


def _refuse_swapped_positions(samples: pd.DataFrame, file: str) -> None:
    latitude, longitude = samples["latitude"].to_numpy(), samples["longitude"].to_numpy()
    given = np.isfinite(latitude) & np.isfinite(longitude)
    swapped = (np.abs(latitude) > 90) & (np.abs(latitude) <= 180) & (np.abs(longitude) <= 90)
    if swapped.sum() * 2 > given.sum():
        raise RideFileError(
            file,
            f"its latitudes lie beyond 90 degrees, e.g. {latitude[swapped][0]:.4f}",
            "latitude and longitude seem to be swapped: name the headings the right way round in "
            "columns, or export the ride again",
        )


def _without_impossible_positions(samples: pd.DataFrame, dropped: list[Dropped]) -> pd.DataFrame:
    latitude, longitude = samples["latitude"].to_numpy(), samples["longitude"].to_numpy()
    given = ~(np.isnan(latitude) & np.isnan(longitude))
    good = (np.abs(latitude) <= 90) & (np.abs(longitude) <= 180)
    good &= (latitude != 0) | (longitude != 0)  # what a receiver without a fix writes
    bad = given & ~good
    if not bad.any():
        return samples
    dropped.append(Dropped(reason="impossible position", count=int(bad.sum())))
    return samples.assign(
        latitude=np.where(bad, np.nan, latitude), longitude=np.where(bad, np.nan, longitude)
    )


def _without_far_positions(samples: pd.DataFrame, dropped: list[Dropped]) -> pd.DataFrame:
    """Drop what no rider could have reached in the time, if most positions lie together."""
    place = _on_sphere(samples)
    given = np.isfinite(place[0])
    if not given.any():
        return samples
    middle = np.median(place[:, given], axis=1, keepdims=True)
    apart = _EARTH * np.linalg.norm(place - middle, axis=0)
    seconds = float(np.ptp(_nanoseconds(samples))) / SECOND
    far = apart > NEARBY + 1.5 * FASTEST * seconds  # the middle may lie beside the way
    if not far.any() or far.sum() * 2 > given.sum():
        return samples
    reason = "position far from all others of the ride"
    dropped.append(Dropped(reason=reason, count=int(far.sum())))
    return samples.assign(**{name: samples[name].mask(far) for name in ("latitude", "longitude")})


def _on_sphere(samples: pd.DataFrame) -> NDArray[np.float64]:
    """Positions on a sphere of radius 1, ``(3, n)``; it has no edge, as degrees have."""
    latitude, longitude = (np.radians(samples[name]) for name in ("latitude", "longitude"))
    level = np.cos(latitude)
    return np.stack([level * np.cos(longitude), level * np.sin(longitude), np.sin(latitude)])


def _within(
    samples: pd.DataFrame,
    channel: str,
    low: float,
    high: float,
    reason: str,
    dropped: list[Dropped],
) -> pd.DataFrame:
    values = samples[channel].to_numpy()
    bad = (values < low) | (values > high)
    if not bad.any():
        return samples
    dropped.append(Dropped(reason=reason, count=int(bad.sum())))
    return samples.assign(**{channel: np.where(bad, np.nan, values)})


def _number_laps(laps: tuple[Span, ...], dropped: list[Dropped]) -> tuple[RecordedLap, ...]:
    ordered = sorted(span for span in laps if span[1] > span[0])  # false for NaT
    if len(ordered) < len(laps):
        count = len(laps) - len(ordered)
        dropped.append(Dropped(reason="recorded lap without start or duration", count=count))
    # Devices round start and end apart, so that neighbours overlap by part of a second.
    ends = [
        min(end, following) if following > start else end
        for (start, end), (following, _) in pairwise(ordered)
    ] + [end for _, end in ordered[-1:]]
    return tuple(
        RecordedLap(number=number, start=start, end=end)
        for number, ((start, _), end) in enumerate(zip(ordered, ends, strict=True), 1)
    )


def _real_pauses(pauses: tuple[Span, ...], samples: pd.DataFrame) -> tuple[Span, ...]:
    # A break no longer than the usual step between records left no hole.
    step = np.median(np.diff(_nanoseconds(samples))) if len(samples) > 1 else 0.0
    return tuple((s, e) for s, e in sorted(pauses) if (e - s).value > 1.5 * step)
