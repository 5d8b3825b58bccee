"""Property: whatever is done to a real file, reading gives a Recording in order or one clean sentence, nothing else.

Mutants are driven by hypothesis: bytes set, removed, inserted, doubled, the end cut. The columnar decoder is called
directly too, because `decode` hides its failures behind the stand-in.
"""

from __future__ import annotations

import gzip
import resource
import time

import fit_bytes as w
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from real_rides import RIDES
from ride_texts import as_gpx, as_tcx

from analysis.errors import CountercheckError
from analysis.reading import fit_columns, fit_walk, read
from analysis.reading.fit_parts import find_parts

MAX_SECONDS = 1.0  # the bound for one mutant
MAX_BYTES = 512 * 2**20


def _corpus() -> list[bytes]:
    """Real files up to 100 kB (beginning and end of larger ones are like them), and built ones where there are none."""
    real = [p.read_bytes() for p in sorted(RIDES.glob("*.fit")) if p.stat().st_size < 100_000] if RIDES.exists() else []
    return [*real, w.ride(list(range(100, 400))), w.ride([200] * 50)[:-9]]


CORPUS = _corpus()
CSV = ("time,power,cadence,speed [km/h]\n" + "".join(f"{1_700_000_000 + i},{200 + i},90,31.5\n" for i in range(200))).encode()

RIDE = pd.DataFrame({
    "time_s": 1.7e9 + np.arange(60), "power_w": 200.0 + np.arange(60), "cadence_rpm": 90.0, "heart_rate_bpm": 140.0,
    "speed_mps": 9.5,
})  # fmt: skip
PACKED = [(as_tcx(RIDE), "m.tcx"), (as_gpx(RIDE), "m.gpx"), (gzip.compress(as_tcx(RIDE)), "m.tcx.gz")]

place = st.floats(0, 1, allow_nan=False)
edit = st.one_of(
    st.tuples(st.just("set"), place, st.binary(min_size=1, max_size=4)),
    st.tuples(st.just("drop"), place, st.integers(1, 40)),
    st.tuples(st.just("insert"), place, st.binary(min_size=1, max_size=40)),
    st.tuples(st.just("double"), place, st.integers(1, 400)),
    st.tuples(st.just("cut"), place, st.just(0)),
)
# Most damage that matters sits in the headers and definitions at the front.
edits = st.lists(st.one_of(edit, edit.map(lambda e: (e[0], e[1] * 0.02, e[2]) if e[0] != "cut" else e)), min_size=1, max_size=6)


def mutate(data: bytes, changes: list[tuple]) -> bytes:
    for kind, where, what in changes:
        at = int(where * len(data))
        if kind == "set":
            data = data[:at] + what + data[at + len(what) :]
        elif kind == "drop":
            data = data[:at] + data[at + what :]
        elif kind == "insert":
            data = data[:at] + what + data[at:]
        elif kind == "double":
            data = data[: at + what] + data[at:]
        elif kind == "cut":
            data = data[:at]
    return data


def check(data: bytes, name: str) -> float:
    """Read it; give the seconds it took. Anything but a Recording or a CountercheckError fails the test."""
    started = time.perf_counter()
    try:
        recording = read(data, name=name)
    except CountercheckError as problem:
        assert name in str(problem) and "\n" not in str(problem)
    else:
        assert (np.diff(recording.samples["time_s"]) > 0).all() and len(recording.samples) >= 2
        assert np.isfinite(recording.samples["time_s"]).all()
    return time.perf_counter() - started


def check_columnar(data: bytes) -> None:
    try:
        parts, _ = find_parts(data, name="m.fit")
    except CountercheckError:
        return
    for part in parts:
        fit_columns.decode_part(data, part, None, max_records=1_000_000)


NORMAL = settings(max_examples=500, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
NIGHTLY = settings(max_examples=20_000, deadline=None, database=None, suppress_health_check=list(HealthCheck))


@NORMAL
@given(st.sampled_from(range(len(CORPUS))), edits)
def test_a_damaged_fit_file_is_read_or_refused(which, changes):
    data = mutate(CORPUS[which], changes)
    check_columnar(data)
    check(data, "m.fit")


@settings(NORMAL, max_examples=150)
@given(edits)
def test_a_damaged_csv_file_is_read_or_refused(changes):
    check(mutate(CSV, changes), "m.csv")


@settings(NORMAL, max_examples=100)
@given(st.sampled_from(range(3)), edits)
def test_a_damaged_xml_file_or_archive_is_read_or_refused(which, changes):
    data, name = PACKED[which]
    check(mutate(data, changes), name)


@pytest.mark.nightly
@pytest.mark.timeout(3600)
@NIGHTLY
@given(st.sampled_from(range(len(CORPUS))), edits)
def test_twenty_thousand_damaged_fit_files(which, changes):
    data = mutate(CORPUS[which], changes)
    check_columnar(data)
    assert check(data, "m.fit") < MAX_SECONDS
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 < MAX_BYTES


def _never_ending(n_bytes: int) -> bytes:
    """Two messages of one byte that alternate with a third: the walk can take no run at once."""
    body = w.define(0, 20, []) + w.define(1, 21, []) + w.define(2, 22, [])
    rng = np.random.default_rng(1)
    return w.wrap(body + rng.integers(0, 3, n_bytes, dtype=np.uint8).tobytes())


@pytest.mark.parametrize("build", [lambda: _never_ending(2**20), lambda: w.wrap(w.define(0, 20, []) + bytes(20 * 2**20))])
def test_a_file_made_to_keep_us_busy_is_refused(build, monkeypatch):
    monkeypatch.setattr(fit_walk, "MAX_TURNS", 100_000)  # the real one takes seconds
    with pytest.raises(CountercheckError, match="without end"):
        read(build(), name="busy.fit")
