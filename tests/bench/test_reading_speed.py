"""Speed of reading, as ratios against named peers in one run on one machine. `pytest tests/bench -m bench -s` prints them.

Floors of issue 3: FIT, all record fields, checksum checked: 250 x fitparse, 2 x fitfast; the whole `read()` with facts and
health report 150 x fitparse; CSV as fast as pandas.read_csv; TCX within 3 x of lxml iterparse alone.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Callable
from pathlib import Path

import fitparse
import numpy as np
import pandas as pd
import pytest
from fastcrc import crc16

from analysis.reading import read
from analysis.reading.fit_decode import decode

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "analysis" / "reading"))
from ride_texts import as_csv, as_tcx

pytestmark = pytest.mark.bench

RIDES = Path(__file__).resolve().parents[2].parent / "shared" / "rides"
LONG = ["ride-01.fit", "ride-02.fit"]


def _best(call: Callable[[], object], repeats: int) -> float:
    """Shortest of several runs: what the work takes when nothing else is in the way. [s]"""
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        call()
        times.append(time.perf_counter() - started)
    return min(times)


def _bytes(name: str) -> bytes:
    if not (RIDES / name).exists():
        pytest.skip("the folder of real recordings is absent (shared/rides beside the repository)")
    return (RIDES / name).read_bytes()


def _with_fitparse(data: bytes) -> None:
    """Every message and every value, checksum checked: fitparse as its users call it."""
    for message in fitparse.FitFile(io.BytesIO(data)).get_messages("record"):
        message.get_values()


@pytest.mark.parametrize("name", LONG)
def test_fit_against_fitparse_and_fitfast(name):
    data = _bytes(name)
    peer = columns = whole = np.inf
    for _ in range(3):  # in turns, so that a busy moment of the machine does not fall on one of them alone
        peer = min(peer, _best(lambda: _with_fitparse(data), 1))
        columns = min(columns, _best(lambda: decode(data, name=name), 15))
        whole = min(whole, _best(lambda: read(data, name=name), 15))
    floor = _best(lambda: (crc16.arc(data), np.frombuffer(data, np.uint8).sum()), 25)
    print(
        f"\n{name}: fitparse {peer * 1e3:.0f} ms; columns {columns * 1e3:.2f} ms ({peer / columns:.0f} x); "
        f"read() {whole * 1e3:.2f} ms ({peer / whole:.0f} x); floor (checksum and one pass) {floor * 1e3:.2f} ms"
    )
    assert peer / columns >= 250
    assert peer / whole >= 150


@pytest.mark.parametrize("name", LONG)
def test_fit_against_fitfast(name, tmp_path):
    fitfast = pytest.importorskip("fitfast", reason="bench-only peer; install the `bench` extra")
    data = _bytes(name)
    path = tmp_path / name
    path.write_bytes(data)
    peer = _best(lambda: fitfast.records(str(path)), 15)
    columns = _best(lambda: decode(path.read_bytes(), name=name), 25)
    print(f"\n{name}: fitfast {peer * 1e3:.2f} ms; columns {columns * 1e3:.2f} ms ({peer / columns:.1f} x)")
    assert peer / columns >= 2


def _made() -> pd.DataFrame:
    n = 4 * 3600
    rng = np.random.default_rng(2)
    return pd.DataFrame({
        "time_s": 1_700_000_000.0 + np.arange(n), "power_w": rng.integers(0, 400, n).astype(float),
        "cadence_rpm": rng.integers(60, 100, n).astype(float), "heart_rate_bpm": rng.integers(100, 180, n).astype(float),
        "speed_mps": np.round(rng.random(n) * 12, 3),
    })  # fmt: skip


def test_csv_against_pandas(monkeypatch):
    data = as_csv(_made())
    peer = _best(lambda: pd.read_csv(io.BytesIO(data), sep=";", decimal=",", encoding="utf-8-sig"), 10)
    whole = _best(lambda: read(data, name="a.csv"), 10)
    # Up to the columns: what every format then shares (clock, health, hash) is left out.
    monkeypatch.setattr("analysis.reading.csv.assemble", lambda **parts: parts)
    columns = _best(lambda: read(data, name="a.csv"), 10)
    print(
        f"\nCSV, four hours: pandas.read_csv {peer * 1e3:.1f} ms; columns {columns * 1e3:.1f} ms ({columns / peer:.2f} of "
        f"it); read() {whole * 1e3:.1f} ms ({whole / peer:.2f} of it)"
    )
    assert columns <= 1.5 * peer


def test_tcx_against_lxml_alone():
    etree = pytest.importorskip("lxml.etree", reason="bench-only peer; install the `bench` extra")
    data = as_tcx(_made())

    def walk() -> None:
        for _, element in etree.iterparse(io.BytesIO(data)):
            element.clear()

    peer = _best(walk, 5)
    whole = _best(lambda: read(data, name="a.tcx"), 5)
    print(f"\nTCX, four hours: lxml iterparse {peer * 1e3:.0f} ms; read() {whole * 1e3:.0f} ms ({whole / peer:.2f} of it)")
    assert whole <= 3 * peer
