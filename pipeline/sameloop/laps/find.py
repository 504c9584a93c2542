"""From tracks to the loop and its laps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sameloop.clean.plane import Plane, plane_around
from sameloop.clean.track import FloatArray, Track
from sameloop.errors import LapMatchError
from sameloop.laps.assign import assign_setups
from sameloop.laps.button import button_laps, distance_passes, repeat_length
from sameloop.laps.keep import keep_or_leave_out
from sameloop.laps.lap import Lap, LapSet, Loop
from sameloop.laps.loop import Reference, find_reference, is_out_and_back
from sameloop.laps.matching import Chain, match
from sameloop.laps.passes import Pass, find_passes
from sameloop.laps.returns import Flat
from sameloop.laps.wheel import on_one_scale
from sameloop.study import Study, Uncertainty

_NO_LOOP = (
    "No stretch of road is ridden twice in the same direction, so no loop can be found in {files}; "
    "ride at least two full laps, or check that all files are of the same loop."
)
_NO_POSITIONS = (
    "No positions and no three recorded laps of one length are in {files}; "
    "press the lap button at the same place on each lap, or record positions."
)


def find_laps(
    tracks: Sequence[Track],
    *,
    study: Study | None = None,
    loop: str = "auto",
    direction: str = "same",
) -> LapSet:
    """Find the loop that rides share and lay every lap on its road coordinate.

    Parameters
    ----------
    tracks : sequence of Track
        In the order of the study's rides.
    study : Study, optional
        Gives `loop`, `direction` and the setup of each lap.
    loop : {'auto', 'closed', 'out_and_back'}
    direction : {'same', 'either'}
        With 'same', laps against the direction that most are ridden in are left out.

    Returns
    -------
    LapSet
        Laps in order of ride and time. What is no full pass of the loop has number 0, direction
        +1 and NaN stations, and a reason.

    Raises
    ------
    LapMatchError
        No loop, or no full lap of it, is found.
    """
    if study is not None:
        loop, direction = study.loop, study.direction
    if any(np.isfinite(track.latitude).any() for track in tracks):
        found = _laps_by_position(tracks, loop, direction)
    else:
        wheel_sd = (Uncertainty() if study is None else study.uncertainty).wheel_circumference
        found = _laps_by_distance(tracks, wheel_sd)
    if study is None:
        return found
    return replace(found, laps=assign_setups(found.laps, tracks, study.rides))


def _laps_by_position(tracks: Sequence[Track], loop: str, direction: str) -> LapSet:
    plane = plane_around(
        np.concatenate([track.latitude for track in tracks]),
        np.concatenate([track.longitude for track in tracks]),
    )
    tracks = on_one_scale(tracks)
    rides = [_flat(track, plane) for track in tracks]
    reference = find_reference(rides)
    if reference is None:
        raise LapMatchError(_NO_LOOP.format(files=_names(tracks)))
    ring = reference.path.ring
    looks_both_ways = is_out_and_back(reference.path)
    both_ways = looks_both_ways if loop == "auto" else loop == "out_and_back"
    closed = ring and not both_ways
    passes = [find_passes(ride, reference, both_ways=both_ways) for ride in rides]
    if not any(not piece.reason for ride in passes for piece in ride):
        raise LapMatchError(_NO_LOOP.format(files=_names(tracks)))
    reference, passes = _along_majority(reference, passes)
    path, chains = match(rides, passes, reference.path)
    found = Loop(
        length=path.length,
        closed=closed,
        station=path.station,
        east=path.east,
        north=path.north,
        heading=path.headings(),
        altitude=_mean_altitude(tracks, chains, path.station),
        latitude0=plane.latitude,
        longitude0=plane.longitude,
    )
    laps = _laps(tracks, passes, chains, path.length)
    return LapSet(
        loop=found,
        laps=keep_or_leave_out(laps, tracks, direction),
        notes=_notes(found, ring=ring),
        odd_shape=_odd_shape(loop, looks_both_ways=looks_both_ways),
    )


def _laps_by_distance(tracks: Sequence[Track], wheel_sd: float) -> LapSet:
    notes: tuple[str, ...] = ()
    how = "the distance after which speed repeats itself"
    by_button = button_laps(tracks, wheel_sd)
    if by_button is not None:
        length, passes = by_button.length, list(by_button.passes)
        how, notes = "the lap button", (by_button.note,)
    else:
        again = repeat_length(tracks)
        if again is None:
            raise LapMatchError(_NO_POSITIONS.format(files=_names(tracks)))
        length, passes = again, distance_passes(tracks, again, wheel_sd)
    chains = [
        _by_distance_alone(number, track, piece, length)
        for number, track in enumerate(tracks)
        for piece in passes[number]
        if not piece.reason
    ]
    station = np.linspace(0.0, length, max(round(length / 5.0), 2) + 1)
    nothing = np.full(len(station), np.nan)
    found = Loop(
        length=length,
        closed=True,
        station=station,
        east=nothing,
        north=nothing,
        heading=nothing,
        altitude=nothing,
        latitude0=np.nan,
        longitude0=np.nan,
    )
    laps = _laps(tracks, passes, chains, length)
    notes = (f"No positions: laps of {length:.0f} m found by {how}.", *notes)
    return LapSet(loop=found, laps=keep_or_leave_out(laps, tracks, "either"), notes=notes)


def _by_distance_alone(number: int, track: Track, piece: Pass, length: float) -> Chain:
    first, last = np.searchsorted(track.distance, [piece.start, piece.end])
    index = np.arange(max(first - 1, 0), min(last + 1, len(track.distance)))
    station = (track.distance[index] - piece.start) * (length / (piece.end - piece.start))
    return Chain(
        ride=number,
        passes=(piece,),
        index=index,
        station=station,
        good=np.ones(len(index), dtype=bool),
    )


def _flat(track: Track, plane: Plane) -> Flat:
    east, north = plane.project(track.latitude, track.longitude)
    return Flat(time=track.time, east=east, north=north, distance=track.distance, speed=track.speed)


def _names(tracks: Sequence[Track]) -> str:
    return ", ".join(track.file for track in tracks)


def _along_majority(
    reference: Reference, passes: list[list[Pass]]
) -> tuple[Reference, list[list[Pass]]]:
    good = [piece.direction for ride in passes for piece in ride if not piece.reason]
    if sum(good) >= 0:
        return reference, passes
    turned = [
        [replace(p, direction=-p.direction) if p.full else p for p in ride] for ride in passes
    ]
    turned_road = replace(
        reference,
        path=reference.path.reversed(),
        gate=reference.finish,
        finish=reference.gate,
    )
    return turned_road, turned


def _laps(
    tracks: Sequence[Track], passes: Sequence[Sequence[Pass]], chains: list[Chain], length: float
) -> list[Lap]:
    placed = {
        (chain.ride, piece.start): (chain, order)
        for chain in chains
        for order, piece in enumerate(chain.passes)
    }
    laps = []
    for ride, track in enumerate(tracks):
        number = 0
        for piece in passes[ride]:
            number += piece.full
            own = number if piece.full else 0
            place = None if piece.reason else placed.get((ride, piece.start))
            laps.append(_lap(ride, own, track, piece, place, length))
    return laps


def _lap(
    ride: int,
    number: int,
    track: Track,
    piece: Pass,
    place: tuple[Chain, int] | None,
    length: float,
) -> Lap:
    if place is None:
        first, last = np.searchsorted(track.distance, [piece.start, piece.end])
        index = slice(int(first), int(max(last, first + 1)))
        station = np.full(index.stop - index.start, np.nan)
        gates = np.interp([piece.start, piece.end], track.distance, track.time)
    else:
        index, station = _on_road(*place, length)
        gates = np.interp([0.0, length], station, track.time[index])
    start, end = (track.start + gates).tolist()
    return Lap(
        ride=ride,
        number=number,
        start=start,
        end=end,
        setup=None,
        direction=piece.direction,
        used=place is not None,
        reason=piece.reason,
        index=index,
        time=track.start + track.time[index],
        station=station,
        length_run=piece.length_run,
        length_sd=piece.length_sd,
    )


def _on_road(chain: Chain, order: int, length: float) -> tuple[slice, FloatArray]:
    """Find the samples of one lap of a chain, one beyond each gate, with stations [m]."""
    first = int(np.searchsorted(chain.station, order * length, side="right"))
    last = int(np.searchsorted(chain.station, (order + 1) * length))
    part = slice(max(first - 1, 0), min(last + 1, len(chain.station)))
    index = slice(int(chain.index[part][0]), int(chain.index[part][-1]) + 1)
    return index, chain.station[part] - order * length


def _mean_altitude(tracks: Sequence[Track], chains: list[Chain], station: FloatArray) -> FloatArray:
    total, count = np.zeros(len(station)), 0
    for chain in chains:
        altitude = tracks[chain.ride].altitude[chain.index]
        known = np.isfinite(altitude)
        if known.sum() < 0.5 * len(altitude):
            continue
        forward = station if chain.direction > 0 else station[::-1]
        at = np.arange(len(chain.passes))[:, None] * station[-1] + forward
        total += np.interp(at, chain.station[known], altitude[known]).sum(axis=0)
        count += len(chain.passes)
    return total / count if count else np.full(len(station), np.nan)


def _notes(loop: Loop, *, ring: bool) -> tuple[str, ...]:
    kind = "closed loop" if loop.closed else "out-and-back" if ring else "one-way road"
    return (f"{kind.capitalize()} of {loop.length:.0f} m found from positions.",)


def _odd_shape(loop: str, *, looks_both_ways: bool) -> str:
    if loop == "auto" or (loop == "out_and_back") == looks_both_ways:
        return ""
    looks = "both ways on one road" if looks_both_ways else "on another road back"
    return f'study.toml says loop = "{loop}", but by its positions it is ridden {looks}'
