"""Keep what was read from a ride file, so that a second run never parses it again.

Each ride is a Parquet file with its samples and a JSON file with the rest, which also holds
the check sum of both. Names are hashes of all that decides the outcome: the bytes of the ride
file, the column map and the version of the readers.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow.parquet as pq

from sameloop.files import write_file
from sameloop.ingest.read import parse_ride, read_bytes
from sameloop.ingest.ride import CHANNELS, Dropped, RecordedLap, Ride

#: Raise it whenever a reader gives other values for the same file.
VERSION = 7


def read_cached(
    path: str | Path,
    cache_dir: str | Path,
    *,
    name: str | None = None,
    columns: Mapping[str, str] | None = None,
) -> Ride:
    """Read a ride as `read_ride` does, from the cache where it holds the same bytes.

    A damaged entry is noticed by its check sum and made anew. If the folder cannot be written,
    the ride is read all the same.

    Parameters
    ----------
    path : str or Path
        The ride file.
    cache_dir : str or Path
        Folder of the cache; made if needed.
    name, columns
        As in `read_ride`.

    Raises
    ------
    RideFileError
        The file cannot be read; nothing is kept of it.
    """
    name = name or Path(path).name
    data = read_bytes(path, name=name)
    entry = Path(cache_dir) / _key(data, columns or {})
    ride = _load(entry)
    if ride is None:
        ride = parse_ride(data, name=name, columns=columns)
        try:
            _save(ride, entry)
        except OSError:
            # A study on a read-only medium must still be answered; only speed is lost.
            return ride
    return replace(ride, file=name)


def _key(data: bytes, columns: Mapping[str, str]) -> str:
    map_hash = hashlib.sha256(json.dumps(sorted(columns.items())).encode()).hexdigest()
    suffix = f"-{map_hash[:12]}" if columns else ""
    return f"{hashlib.sha256(data).hexdigest()}-{VERSION}{suffix}"


def _save(ride: Ride, entry: Path) -> None:
    buffer = BytesIO()
    ride.samples.to_parquet(buffer, index=False, compression="zstd")
    table, rest = buffer.getvalue(), _rest_to_json(ride)
    write_file(entry.with_name(entry.name + ".parquet"), table)
    sealed = {"sha256": _seal(table, rest), "ride": rest}
    write_file(entry.with_name(entry.name + ".json"), json.dumps(sealed, indent=1).encode())


def _load(entry: Path) -> Ride | None:
    """Return the ride, or None if the entry is missing, half-written or damaged."""
    try:
        table = entry.with_name(entry.name + ".parquet").read_bytes()
        sealed = json.loads(entry.with_name(entry.name + ".json").read_bytes())
        if sealed["sha256"] != _seal(table, sealed["ride"]):
            return None
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return _ride_from_json(sealed["ride"], _samples(table))


def _samples(table: bytes) -> pd.DataFrame:
    """Read the samples in this thread: a pool that outlives the command may abort its exit.

    That is faster as well, since a ride is small.
    """
    file = pq.ParquetFile(BytesIO(table), pre_buffer=False)
    samples: pd.DataFrame = file.read(columns=list(CHANNELS), use_threads=False).to_pandas(
        use_threads=False
    )
    return samples


def _seal(table: bytes, rest: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(rest, sort_keys=True).encode() + table).hexdigest()


def _rest_to_json(ride: Ride) -> dict[str, Any]:
    return {
        "sha256": ride.sha256,
        "format": ride.format,
        "laps": [[lap.number, lap.start.isoformat(), lap.end.isoformat()] for lap in ride.laps],
        "pauses": [[start.isoformat(), end.isoformat()] for start, end in ride.pauses],
        "dropped": [[item.reason, item.count, item.seconds] for item in ride.dropped],
        "assumptions": list(ride.assumptions),
    }


def _ride_from_json(rest: Mapping[str, Any], samples: pd.DataFrame) -> Ride:
    return Ride(
        file="",
        sha256=rest["sha256"],
        format=rest["format"],
        samples=samples,
        laps=tuple(
            RecordedLap(number=number, start=_time(start), end=_time(end))
            for number, start, end in rest["laps"]
        ),
        pauses=tuple((_time(start), _time(end)) for start, end in rest["pauses"]),
        dropped=tuple(
            Dropped(reason=reason, count=count, seconds=seconds)
            for reason, count, seconds in rest["dropped"]
        ),
        assumptions=tuple(rest["assumptions"]),
    )


def _time(text: str) -> pd.Timestamp:
    return pd.Timestamp(text).as_unit("ns")
