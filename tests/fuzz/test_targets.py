"""Broken, hostile and random bytes: a good outcome or one clear sentence, for every reader.

Two thousand inputs on each run; `by_hand.py` tries far more, guided by coverage.
"""

from __future__ import annotations

import gzip
import runpy
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sameloop.errors import RideFileError, SameloopError
from sameloop.ingest import read as reading
from sameloop.ingest.read import parse_ride, read_ride

_FUZZ = runpy.run_path(str(Path(__file__).parent / "targets.py"))
TARGETS, judge = _FUZZ["TARGETS"], _FUZZ["judge"]
PER_TARGET = 2000 // len(TARGETS)

_PLACE = st.floats(0, 1)
_CHANGES = st.lists(
    st.one_of(
        st.tuples(st.just("cut"), _PLACE, _PLACE),
        st.tuples(st.just("flip"), _PLACE, st.integers(0, 7)),
        st.tuples(st.just("put"), _PLACE, st.binary(min_size=1, max_size=8)),
        st.tuples(st.just("word"), _PLACE, st.integers(0, 99)),
        st.tuples(st.just("turn"), _PLACE, st.sampled_from([2, 4, 8])),
        st.tuples(st.just("repeat"), _PLACE, st.integers(1, 40)),
        st.tuples(st.just("chain"), _PLACE, st.integers(0, 9)),
    ),
    min_size=1,
    max_size=4,
)


def _changed(target, seed, changes):
    """Truncate, flip a bit, overwrite, insert a word, swap endianness, repeat, chain."""
    data = target.seeds[seed % len(target.seeds)]
    for kind, where, what in changes:
        at = round(where * len(data))
        before, after = data[:at], data[at:]
        if kind == "cut":
            data = before + after[round(what * len(after)) :]
        elif kind == "flip":
            data = before + bytes([after[0] ^ 1 << what]) + after[1:] if after else before
        elif kind == "put":
            data = before + what + after[len(what) :]
        elif kind == "word" and target.words:
            data = before + target.words[what % len(target.words)] + after
        elif kind == "turn":
            data = before + after[:what][::-1] + after[what:]
        elif kind == "repeat":
            data = before + after[:20] * what + after
        elif kind == "chain":
            data = before + target.seeds[what % len(target.seeds)]
    return data[:20_000]


@pytest.mark.parametrize("name", TARGETS)
@settings(max_examples=PER_TARGET, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 9), changes=_CHANGES)
def test_changed_files(name, seed, changes):
    judge(TARGETS[name], _changed(TARGETS[name], seed, changes))


@pytest.mark.parametrize("name", TARGETS)
def test_the_seeds_are_good(name):
    for seed in TARGETS[name].seeds:
        TARGETS[name].read(seed)


BOMB = "".join(
    f'<!ENTITY e{level} "{f"&e{level - 1};" * 10 if level else "ha" * 10}">' for level in range(9)
)
ENTITIES = {
    "swelling": f"<!DOCTYPE gpx [{BOMB}]>",
    "a file": '<!DOCTYPE gpx [<!ENTITY e8 SYSTEM "file:///etc/passwd">]>',
    "a network": '<!DOCTYPE gpx SYSTEM "http://localhost:9/x.dtd">',
    "a parameter": '<!DOCTYPE gpx [<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;]>',
}


@pytest.mark.parametrize("kind", ENTITIES)
@pytest.mark.parametrize("root", ["gpx", "TrainingCenterDatabase"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused_whatever_they_name(kind, root, encoding):
    text = f"{ENTITIES[kind]}<{root}>&e8;</{root}>"
    with pytest.raises(RideFileError, match="declares a document type"):
        parse_ride(text.encode(encoding), name="a")


@pytest.mark.parametrize("root", ["gpx", "TrainingCenterDatabase"])
def test_deep_nesting_ends_in_one_sentence(root):
    depth = 60_000
    text = f"<{root}>{'<trk>' * depth}{'</trk>' * depth}</{root}>"
    with pytest.raises(SameloopError, match=r"^a: "):
        parse_ride(text.encode(), name="a")


def test_a_gzip_bomb_stops_at_the_limit(monkeypatch):
    monkeypatch.setattr(reading, "LARGEST", 10**6)
    bomb = gzip.compress(b"0" * 10**8)
    tracemalloc.start()
    with pytest.raises(RideFileError, match="unpacks to more than"):
        parse_ride(bomb, name="a")
    assert tracemalloc.get_traced_memory()[1] < 2e7
    tracemalloc.stop()


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null"])
def test_a_device_that_never_ends_is_not_read(device):
    with pytest.raises(RideFileError, match="is no file but a device"):
        read_ride(device)


def test_a_huge_fit_file_is_not_parsed(monkeypatch):
    monkeypatch.setattr(reading, "LARGEST_FIT", 100)
    with pytest.raises(RideFileError, match="is a FIT file larger than"):
        parse_ride(TARGETS["fit"].seeds[0], name="a")
