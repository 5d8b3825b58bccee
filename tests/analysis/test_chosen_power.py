"""Two powers in one file: the reviewer's choice decides what is compared. Referee: a file built with both, 10 % apart."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from analysis.errors import BadSetup
from analysis.pipeline import compare
from analysis.reading import read
from analysis.setup import setup_from_dict

sys.path.insert(0, str(Path(__file__).parent / "reading"))
import fit_bytes as w

RNG = np.random.default_rng(5)
NATIVE = (np.repeat([150, 220, 180, 260], 300) + RNG.integers(-4, 5, 1200)).tolist()


def both(seed: int, gain: float) -> bytes:
    """FIT with `gain` times the ride's power, and 110 % of that power written by an application."""
    noise = np.random.default_rng(seed).integers(-3, 4, len(NATIVE))
    body = w.define(1, w.DEVELOPER_DATA_ID, [(3, "uint8")]) + w.put(1, "B", 0)
    body += w.define(2, w.FIELD_DESCRIPTION, [(0, "uint8"), (1, "uint8"), (2, "uint8"), (3, "string", 8), (15, "uint8")])
    body += w.put(2, "BBB8sB", 0, 0, 0x84, b"Other\0\0\0", 7)
    body += w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16")], developer=[(0, 2, 0)])
    watts = [p + int(n) for p, n in zip(NATIVE, noise, strict=True)]
    return w.wrap(body + b"".join(w.put(0, "IHH", 10**9 + t, round(gain * p), round(1.1 * p)) for t, p in enumerate(watts)))


@pytest.fixture(scope="module")
def recordings():
    return [read(w.ride(NATIVE), name="hub.fit"), read(both(1, 1.0), name="pedals.fit")]


def result(recordings, power: str | None):
    device = {"file": "pedals.fit", "label": "pedals"} | ({"power": power} if power else {})
    return compare(recordings, setup_from_dict({"device": [device]})).to_dict()


@pytest.mark.parametrize(("power", "delta_pct"), [(None, 0.0), ("native", 0.0), ("developer", 10.0)])
def test_the_chosen_power_is_what_is_compared(recordings, power, delta_pct):
    report = result(recordings, power)
    (entry,) = [s for s in report["summary"] if s["kind"] == "all"]
    assert entry["delta_pct"] == pytest.approx(delta_pct, abs=0.3)
    pedals = report["recordings"][1]
    own, by_choice = (any(words in s for s in pedals["warnings"]) for words in ("own power is used", "by choice"))
    assert (own, by_choice) == (power != "developer", power == "developer")
    assert ("developer_power_w" in pedals["channels"]) == (power != "developer")


@pytest.mark.parametrize("power", [None, "developer"])
def test_zeros_of_its_own_leave_the_application_s_power_and_say_so(power):
    silent = read(both(1, 0.0), name="pedals.fit")
    assert "power_w" in silent.channels
    report = result([read(w.ride(NATIVE), name="hub.fit"), silent], power)
    (entry,) = [s for s in report["summary"] if s["kind"] == "all"]
    assert entry["delta_pct"] == pytest.approx(10.0, abs=0.3)
    said = [s for s in report["recordings"][1]["warnings"] if "own power is zero throughout" in s]
    assert len(said) == 1
    assert "'Other'" in said[0]


def test_choosing_what_is_not_there_names_the_file(recordings):
    setup = setup_from_dict({"device": [{"file": "hub.fit", "power": "developer"}]})
    with pytest.raises(BadSetup, match=r"hub\.fit holds no power written by an application"):
        compare(recordings, setup)
