"""Read a ride file of any supported format."""

from __future__ import annotations

import gzip
import hashlib
import re
import stat
import zlib
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path

from sameloop.errors import RideFileError
from sameloop.ingest.fit import read_fit
from sameloop.ingest.gpx import read_gpx
from sameloop.ingest.recording import Recording, to_ride
from sameloop.ingest.ride import Ride
from sameloop.ingest.table import read_table
from sameloop.ingest.tcx import read_tcx

#: A day at 4 Hz as TCX is about 150 MB; more than this is no ride but a mistake or an attack.
LARGEST = 512 * 2**20
#: A day at 4 Hz as FIT is about 20 MB, and reading takes 12 times the size in memory.
LARGEST_FIT = 64 * 2**20

_ROOT = re.compile(rb"<(?:[\w.-]+:)?(gpx|TrainingCenterDatabase)[\s>/]")
_OTHER_ROOT = re.compile(rb"<([A-Za-z_][\w.:-]*)")


def read_ride(
    path: str | Path, *, name: str | None = None, columns: Mapping[str, str] | None = None
) -> Ride:
    """Read a FIT, GPX, TCX or CSV file, also gzipped; the content tells the format.

    Parameters
    ----------
    path : str or Path
        The file.
    name : str, optional
        What to call it in messages and in the result; the file's own name by default.
    columns : mapping, optional
        For CSV: our channel names, perhaps with a unit (``speed_kmh``), to the file's headings.
        See `sameloop.ingest.table`.

    Raises
    ------
    RideFileError
        The file cannot be read; says where and what to do.
    """
    name = name or Path(path).name
    return parse_ride(read_bytes(path, name=name), name=name, columns=columns)


def read_bytes(path: str | Path, *, name: str) -> bytes:
    """Bytes of a ride file.

    Raises
    ------
    RideFileError
        There is no such file, it cannot be opened, or it is too large.
    """
    path = Path(path)
    try:
        facts = path.stat()
        if not (stat.S_ISREG(facts.st_mode) or stat.S_ISDIR(facts.st_mode)):  # it may never end
            raise RideFileError(name, "is no file but a device", "give a ride file")
        if facts.st_size > LARGEST:
            raise RideFileError(name, "is larger than 512 MB", "give one ride per file")
        return path.read_bytes()
    except FileNotFoundError as error:
        raise RideFileError(name, "there is no such file", "check the name and folder") from error
    except OSError as error:
        problem = f"cannot be opened ({error.strerror})"
        raise RideFileError(name, problem, "give a ride file that can be read") from error


def parse_ride(data: bytes, *, name: str, columns: Mapping[str, str] | None = None) -> Ride:
    """Parse a ride from the bytes of its file; otherwise as `read_ride`."""
    recording = _parse(unpack(data, file=name), file=name, columns=columns or {})
    return to_ride(recording, file=name, sha256=hashlib.sha256(data).hexdigest())


def unpack(data: bytes, *, file: str) -> bytes:
    """Bytes of a file as they are without gzip, if it was gzipped.

    Raises
    ------
    RideFileError
        The gzip data are damaged or unpack to too much.
    """
    if not data.startswith(b"\x1f\x8b"):
        return data
    try:
        with gzip.open(BytesIO(data)) as stream:
            unpacked = stream.read(LARGEST + 1)
    except (EOFError, OSError, zlib.error) as error:
        problem = f"the gzip data are damaged or cut short ({str(error).rstrip('.')})"
        raise RideFileError(file, problem, "copy it again or unpack it first") from error
    if len(unpacked) > LARGEST:
        raise RideFileError(file, "unpacks to more than 512 MB", "give one ride per file")
    return unpacked


def is_gpx(data: bytes) -> bool:
    """Whether unpacked bytes are a GPX file, by the root element."""
    root = _ROOT.search(_head(data))
    return root is not None and root.group(1) == b"gpx"


def _head(data: bytes) -> bytes:
    return data[:65536].replace(b"\0", b"")  # so that UTF-16 reads like ASCII


def _parse(data: bytes, *, file: str, columns: Mapping[str, str]) -> Recording:
    if not data.strip(b"\0 \t\r\n"):
        raise RideFileError(file, "is empty", "copy it again from the device")
    if data[8:12] == b".FIT":
        if len(data) > LARGEST_FIT:
            raise RideFileError(file, "is a FIT file larger than 64 MB", "give one ride per file")
        return read_fit(data, file=file)
    head = _head(data)
    if head.lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").startswith(b"<"):
        root = _ROOT.search(head)
        if root is None:
            found = _OTHER_ROOT.search(head)
            kind = found.group(1)[:40].decode("ascii") if found else "unknown"
            problem = f"is XML with root element '{kind}', neither GPX nor TCX"
            raise RideFileError(file, problem, "export the ride as FIT, TCX, GPX or CSV")
        return (read_gpx if root.group(1) == b"gpx" else read_tcx)(data, file=file)
    if b"\0" in data[:65536]:
        problem = "is not FIT, GPX, TCX or CSV"
        raise RideFileError(file, problem, "export the ride in one of these formats")
    return read_table(data, file=file, columns=columns)
