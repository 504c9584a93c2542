"""The FIT decoder that reads rides against another one, message by message.

fitparse is slower and its profile older, so it only serves as reference: messages that rides
are made of must have the same values, and a broken file must end at the same message.
"""

from __future__ import annotations

import runpy
from io import BytesIO
from pathlib import Path

import fitdecode
import fitparse
import pytest
from fitparse.profile import MESSAGE_TYPES
from fitparse.records import DEV_TYPES
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from sameloop.errors import RideFileError
from sameloop.ingest.fit import chained_files, crc16

ROOT = Path(__file__).parents[2]
SAMPLES = sorted(ROOT.glob("sample_rides/**/*.fit"))
LAP, RECORD, EVENT = 19, 20, 21
_FUZZ = runpy.run_path(str(ROOT / "tests" / "fuzz" / "targets.py"))  # kept: its folder is in use
SEEDS = _FUZZ["TARGETS"]["fit"].seeds


class _AsScaled(fitparse.FitFileDataProcessor):
    """Leaves values as the profile scales them, as fitdecode does without a processor."""

    def run_type_processor(self, field_data):
        pass

    run_field_processor = run_unit_processor = run_message_processor = run_type_processor


def _by_fitparse(data):
    DEV_TYPES.clear()  # of the last file
    file = fitparse.FitFile(BytesIO(data), check_crc=False, data_processor=_AsScaled())
    for message in file.get_messages():
        yield message.mesg_num, message.fields


def _by_fitdecode(data):
    reader = fitdecode.FitReader(
        BytesIO(data),
        processor=None,
        check_crc=fitdecode.CrcCheck.DISABLED,
        error_handling=fitdecode.ErrorHandling.RAISE,
    )
    for frame in reader:
        if frame.frame_type == fitdecode.FIT_FRAME_DATA:
            yield frame.global_mesg_num, frame.fields


def _messages(decoded):
    """Laps, records and events up to the end or an error, and whether there was none.

    None where the reference itself fails, and so says nothing of what follows.
    Only fields and names of values that fitparse's profile knows.
    """
    found = []
    try:
        for number, fields in decoded:
            if number in (LAP, RECORD, EVENT):
                known = MESSAGE_TYPES[number].fields
                found.append((number, [_told(item) for item in fields if _is_known(item, known)]))
    except KeyError:  # fitparse looks for what a broken description of a field does not name
        return found, None
    except Exception:
        return found, False
    return found, True


def _is_known(item, profile):
    return item.field is not None and (item.field_type == "devfield" or item.def_num in profile)


def _told(item):
    field = item.parent_field or item.field  # what stands in a field by turns has newer names, too
    name = None if str(field.name).startswith("unnamed_dev_field") else field.name
    return name, _known_value(item), repr(item.raw_value), field.units


def _known_value(item):
    if isinstance(item.value, str) and isinstance(item.raw_value, int):
        # An enumerated value; fitparse knows fewer of their names.
        names = fitparse.profile.FIELD_TYPES[item.field.type.name].values
        return names.get(item.raw_value, repr(item.raw_value))  # as a value without a name
    return repr(item.value)


def _assert_alike(data):
    for start, end in chained_files(data, file="a"):
        part = data[start:end]
        expected, whole = _messages(_by_fitparse(part))
        found, also_whole = _messages(_by_fitdecode(part))
        if whole is None:
            assert found[: len(expected)] == expected
            continue
        assert also_whole == whole
        # A message that runs over the end of the file is an error to both, but one of them
        # takes the check sum for its end first.
        assert found == expected or (not whole and found == expected[:-1])


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_simulated_files(path):
    _assert_alike(path.read_bytes())


def _recorded(files):
    return [data for _, data in sorted(files.items()) if data[8:12] == b".FIT"]


def test_recorded_files(recorded_files):
    files = sorted(_recorded(recorded_files), key=len)
    assert len(files) == 55
    for data in files[:30:6]:
        _assert_alike(data)


@pytest.mark.slow
def test_every_recorded_file(recorded_files):
    for data in _recorded(recorded_files):
        _assert_alike(data)


_CHANGES = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 6), st.binary(max_size=6)), min_size=1, max_size=3
)


@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@example(seed=SEEDS[0], changes=[(0.75, 4, b""), (0.5390625, 0, b"\x00G")])  # an event of no name
@example(seed=SEEDS[0], changes=[(0.109375, 2, b"\x03\x00")])  # a field without a type
@given(seed=st.sampled_from(SEEDS), changes=_CHANGES)
def test_broken_files(seed, changes):
    content = seed[14:-2]
    for where, lost, new in changes:
        at = round(where * len(content))
        content = content[:at] + new + content[at + lost :]
    data = seed[:4] + len(content).to_bytes(4, "little") + seed[8:14] + content
    try:
        _assert_alike(data + crc16(data).to_bytes(2, "little"))
    except RideFileError:
        if content:  # without, the recording was never finished
            raise
