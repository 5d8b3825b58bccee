"""Speed of aligning, as a ratio against one FFT correlation per pair. `pytest tests/bench -m bench -s` prints it.

Floor of issue 4: eight recordings of six hours align in less time than one `scipy.signal.correlate` (FFT) per pair on
their data resampled to 10 Hz takes; memory stays linear in the samples.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from analysis.consistency import Clocked, align_all

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "analysis"))
from made import recording
from sample_data.ride_model import hold_plan, record, ride

pytestmark = pytest.mark.bench

HOURS = 6
DEVICES = 8


def _trial(hours: float) -> list[Clocked]:
    """One ride, several recorders: clocks apart by seconds, some fast or slow, all channels that the model has."""
    holds = int(hours * 3600 / 210)
    rng = np.random.default_rng(6)
    truth = ride(hold_plan(rng.integers(120, 300, holds).tolist()), seed=6)
    made = [
        recording(record(truth, seed=k, noise_frac=0.01, clock_ahead_s=3.7 * k, clock_fast_ppm=15.0 * (k % 3)), f"{k}")
        for k in range(DEVICES)
    ]
    return [Clocked(label=r.name, recording=r) for r in made]


def _best(call, repeats: int) -> float:
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        call()
        times.append(time.perf_counter() - started)
    return min(times)


def _at_10_hz(clocked: list[Clocked]) -> list[np.ndarray]:
    out = []
    for one in clocked:
        t, w = (one.recording.samples[c].to_numpy() for c in ("time_s", "power_w"))
        w = np.interp(np.arange(t[0], t[-1], 0.1), t, w)
        out.append(w - w.mean())
    return out


def test_eight_recordings_of_six_hours_against_one_correlation_per_pair():
    clocked = _trial(HOURS)
    fine = _at_10_hz(clocked)
    one = _best(lambda: signal.correlate(fine[1], fine[0], method="fft"), 3)
    pairs = DEVICES * (DEVICES - 1) // 2
    ours = _best(lambda: align_all(clocked), 3)
    alignments, misfits = align_all(clocked)
    assert all(a.settled for a in alignments)
    assert not misfits
    print(
        f"\n{DEVICES} recordings of {HOURS} h: {ours * 1e3:.0f} ms; one correlation {one * 1e3:.0f} ms, so "
        f"{pairs} pairs {pairs * one * 1e3:.0f} ms ({ours / (pairs * one):.2f} of it), "
        f"{DEVICES - 1} pairs {(DEVICES - 1) * one * 1e3:.0f} ms ({ours / ((DEVICES - 1) * one):.2f} of it)"
    )
    assert ours < pairs * one


def test_memory_grows_linearly_with_the_samples():
    peaks = []
    for hours in (1.5, 6):
        clocked = _trial(hours)
        tracemalloc.start()
        align_all(clocked)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    print(f"\npeak memory {peaks[0] / 1e6:.1f} MB for 1.5 h, {peaks[1] / 1e6:.1f} MB for 6 h")
    assert peaks[1] < 1.5 * 4 * peaks[0]
