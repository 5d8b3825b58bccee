"""TCX, GPX, .gz and .zip. Referee: the same ride read from FIT or built here; the ceilings as written in limits."""

from __future__ import annotations

import gzip
import io
import pickle
import zipfile

import fit_bytes as w
import numpy as np
import pandas as pd
import pytest
from ride_texts import PLACE, SERIAL, as_csv, as_gpx, as_tcx

from analysis.errors import UnreadableFile
from analysis.reading import limits, read, read_many

N = 300
START = 1_700_000_000.0
RNG = np.random.default_rng(11)
CHANNELS = ["power_w", "cadence_rpm", "heart_rate_bpm", "speed_mps"]
WRITERS = {"tcx": as_tcx, "gpx": as_gpx, "csv": as_csv}


def _samples() -> pd.DataFrame:
    frame = pd.DataFrame({
        "time_s": START + np.delete(np.arange(N + 20), slice(100, 120)),
        "power_w": RNG.integers(0, 400, N).astype(float),
        "cadence_rpm": RNG.integers(60, 100, N).astype(float),
        "heart_rate_bpm": RNG.integers(100, 180, N).astype(float),
        "speed_mps": np.round(RNG.random(N) * 12, 3),
    })  # fmt: skip
    frame.loc[50:55, "power_w"] = np.nan
    frame.loc[200, "heart_rate_bpm"] = np.nan
    return frame


SAMPLES = _samples()


@pytest.mark.parametrize("format", list(WRITERS))
def test_a_ride_comes_back_sample_by_sample(format):
    recording = read(WRITERS[format](SAMPLES), name=f"hub.{format}")
    assert recording.format == format and recording.absolute_clock
    pd.testing.assert_frame_equal(recording.samples[["time_s", *CHANNELS]], SAMPLES, check_exact=False, rtol=1e-12)
    assert set(recording.channels) == set(CHANNELS)
    assert not any("zone" in s or "breaks off" in s for s in recording.warnings)


@pytest.mark.parametrize("format", ["tcx", "gpx"])
def test_nothing_that_tells_where_or_who_survives(format):
    recording = read(WRITERS[format](SAMPLES), name=f"hub.{format}")
    held = pickle.dumps(recording) + repr(recording.facts).encode()
    for secret in (str(PLACE[0]), str(PLACE[1]), SERIAL, "secret"):
        assert secret.encode() not in held
    assert not (recording.samples == PLACE[0]).any().any()


def test_facts_of_a_tcx_recorder():
    recorder = read(as_tcx(SAMPLES), name="hub.tcx").facts["recorder"]
    assert (recorder["product"], recorder["firmware"], len(recorder["serial_hash"])) == (42, "3.10", 8)


@pytest.mark.parametrize("format", ["tcx", "gpx"])
def test_a_file_that_breaks_off_keeps_what_came_before(format):
    whole = WRITERS[format](SAMPLES)
    recording = read(whole[: len(whole) // 2], name=f"hub.{format}")
    assert 100 < len(recording.samples) < 200
    assert any("breaks off" in s for s in recording.warnings)
    n = len(recording.samples) - 1  # the last one may lack a quantity
    assert recording.samples.power_w[:n].equals(SAMPLES.power_w[:n])


def test_blanks_before_the_declaration_do_no_harm():
    assert len(read(b"\n   " + as_tcx(SAMPLES), name="a.tcx").samples) == N


@pytest.mark.parametrize("format", ["tcx", "gpx"])
def test_entities_are_refused_before_they_can_expand(format):
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    whole = WRITERS[format](SAMPLES)
    at = whole.index(b"\n") + 1
    with pytest.raises(UnreadableFile, match="entities"):
        read(whole[:at] + bomb + whole[at:], name="a.xml")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"<html><body>not here</body></html>", "another kind"),
        (b"<gpx><rte><rtept lat='1' lon='2'/></rte></gpx>", "no track points"),
        (b"<TrainingCenterDatabase><Courses/></TrainingCenterDatabase>", "no track points"),
        (b"<gpx><trk><trkpt lat='1' lon='2'></trkpt><trkpt>", "breaks off"),
    ],
)
def test_xml_without_a_ride_is_refused(data, says):
    with pytest.raises(UnreadableFile, match=says):
        read(data, name="thing.xml")


@pytest.mark.parametrize("pack", [gzip.compress, lambda d: gzip.compress(d[:900]) + gzip.compress(d[900:])])
def test_gzip_gives_the_same_recording(pack):
    plain = w.ride(list(range(100, 300)))
    packed = read(pack(plain), name="hub.fit.gz")
    assert packed.sha256 == read(plain, name="hub.fit").sha256
    assert len(packed.samples) == 200 and packed.facts["label_guess"] == "hub"


def test_a_cut_gzip_gives_what_is_there():
    plain = w.ride([int(p) for p in RNG.integers(0, 400, 5000)])
    packed = gzip.compress(plain)
    recording = read(packed[: len(packed) // 2], name="a.fit.gz")
    assert 1000 < len(recording.samples) < 5000 and recording.warnings


def test_a_damaged_gzip_is_refused():
    with pytest.raises(UnreadableFile, match="damaged gzip"):
        read(b"\x1f\x8b" + bytes(50), name="a.gz")


def _zip(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


def test_a_zip_gives_every_recording_and_the_bad_one_as_an_error():
    files = {
        "trial/hub.fit": w.ride([200] * 5), "trial/pedals.tcx": as_tcx(SAMPLES), "__MACOSX/x": b"", "trial/.DS_Store": b"x",
        "notes.pdf": b"%PDF-1.4", "crank.fit.gz": gzip.compress(w.ride([210] * 5)), "inner.zip": _zip({"a": b"b"}),
        "a/ride.csv": as_csv(SAMPLES), "b/ride.csv": as_csv(SAMPLES),
    }  # fmt: skip
    found = read_many(_zip(files), name="trial.zip")
    good = [r.name for r in found if not isinstance(r, Exception)]
    bad = [str(r) for r in found if isinstance(r, Exception)]
    assert good == ["hub.fit", "pedals.tcx", "crank.fit.gz", "a ride.csv", "b ride.csv"]
    assert len(bad) == 2 and "notes.pdf" in bad[0] and "inner.zip" in bad[1]


def test_read_takes_a_zip_of_one_and_refuses_one_of_several():
    assert len(read(_zip({"hub.fit": w.ride([200] * 5)}), name="a.zip").samples) == 5
    with pytest.raises(UnreadableFile, match="holds 2 files"):
        read(_zip({"a.fit": b"", "b.fit": b""}), name="a.zip")


@pytest.mark.parametrize(
    ("build", "says"),
    [
        (lambda: _zip({}), "empty zip"),
        (lambda: b"PK\x03\x04" + bytes(60), "damaged zip"),
        (lambda: _zip({f"{i}.fit": b"x" for i in range(limits.MAX_FILES + 1)}), "limit is 24"),
        (lambda: _zip({"a.csv": bytes(30 * 2**20)}), "1000 times"),
        (lambda: gzip.compress(bytes(30 * 2**20)), "1000 times"),
        (lambda: gzip.compress(np.random.default_rng(0).integers(0, 2, 65 * 2**20, dtype=np.uint8).tobytes(), 1), "64 MB"),
    ],
)
def test_each_ceiling_is_named(build, says):
    with pytest.raises(UnreadableFile, match=says):
        read(build(), name="thing")


def test_all_files_of_an_upload_share_one_ceiling(monkeypatch):
    monkeypatch.setattr("analysis.reading.bundle.MAX_UPLOAD_BYTES", 30_000)
    ride = w.ride([int(p) for p in RNG.integers(0, 400, 2000)])
    found = read_many(_zip({f"{i}.fit": ride for i in range(3)}), name="a.zip")
    assert [isinstance(r, Exception) for r in found] == [False, False, True] and "per upload" in str(found[2])
    # what is packed once more counts when it is unpacked
    found = read_many(_zip({f"{i}.fit.gz": gzip.compress(ride) for i in range(3)}), name="a.zip")
    assert "per upload" in str(found[2])


def test_a_locked_zip_says_so():
    data = bytearray(_zip({"a.fit": w.ride([200] * 5)}))
    for magic, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(magic) + offset] |= 1
    with pytest.raises(UnreadableFile, match="password"):
        read(bytes(data), name="a.zip")


@pytest.mark.parametrize("format", list(WRITERS))
def test_a_real_ride_is_the_same_through_every_format(format, rides):
    original = read((rides / "ride-02.fit").read_bytes(), name="ride.fit").samples[["time_s", *CHANNELS]].iloc[:3000]
    again = read(WRITERS[format](original), name=f"ride.{format}").samples[["time_s", *CHANNELS]]
    pd.testing.assert_frame_equal(again, original, check_exact=False, rtol=1e-12)


def test_the_format_of_a_file_does_not_change_a_delta(rides):
    """Invariant: one pair of recordings through FIT, TCX, GPX and CSV gives the same deltas."""
    from analysis.pipeline import compare

    hub = read((rides / "ride-02.fit").read_bytes(), name="hub.fit").samples[["time_s", *CHANNELS]].iloc[:2400]
    pedals = hub.assign(power_w=np.round(hub.power_w * 1.04))
    results = {}
    for format, write in {**WRITERS, "fit": _as_fit}.items():
        pair = [read(write(side), name=f"{label}.{format}") for label, side in (("hub", hub), ("pedals", pedals))]
        results[format] = compare(pair).to_dict()
    assert results["fit"]["deltas"]
    for format in WRITERS:
        for mine, theirs in zip(results[format]["deltas"], results["fit"]["deltas"], strict=True):
            assert mine.keys() == theirs.keys()
            for key in ("block", "verdict", "mean_w", "delta_w", "delta_pct"):
                assert mine[key] == pytest.approx(theirs[key]) if isinstance(mine[key], float) else mine[key] == theirs[key]


def _as_fit(samples: pd.DataFrame) -> bytes:
    body = w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16"), (4, "uint8"), (3, "uint8"), (6, "uint16")])
    raw = samples[CHANNELS].fillna({"power_w": 0xFFFF, "cadence_rpm": 0xFF, "heart_rate_bpm": 0xFF, "speed_mps": 65.535})
    for stamp, row in zip(samples.time_s, raw.itertuples(index=False), strict=True):
        body += w.put(0, "IHBBH", int(stamp) - 631065600, int(row.power_w), int(row.cadence_rpm),
                      int(row.heart_rate_bpm), round(row.speed_mps * 1000))  # fmt: skip
    return w.wrap(body)
