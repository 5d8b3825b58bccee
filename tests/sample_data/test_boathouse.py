"""The built-in trial: files are what the generator makes, a standard decoder reads them, the plant is there."""

import io
import subprocess
import sys
from pathlib import Path

import fitparse
import numpy as np
import pytest

import sample_data
from analysis.setup import setup_from_toml
from sample_data.boathouse import make
from sample_data.ride_model import EPOCH_S

FOLDER = Path(make.__file__).parent
FITS = ("hub.fit", "spider.fit", "pedals.fit")
FIT_NAMES = {
    "power": "power_w",
    "cadence": "cadence_rpm",
    "heart_rate": "heart_rate_bpm",
    "temperature": "temperature_degc",
}
CLOCK_AHEAD_S = {"hub": 0.0, "spider": -3.4, "pedals": 7.6}


def messages(name):
    return list(fitparse.FitFile(str(FOLDER / name), check_crc=True).get_messages())


@pytest.fixture(scope="module")
def files():
    """Label -> channels as fitparse (an outside decoder) reads them, checksum checked; time in Unix seconds."""
    read = {}
    for name in FITS:
        rows = [m.get_values() for m in messages(name) if m.name == "record"]
        columns = {ours: [np.nan if r[fit] is None else r[fit] for r in rows] for fit, ours in FIT_NAMES.items()}
        columns["time_s"] = [(r["timestamp"] - np.datetime64(0, "s").item()).total_seconds() for r in rows]
        read[name.removesuffix(".fit")] = {k: np.array(v, dtype=float) for k, v in columns.items()}
    return read


@pytest.fixture(scope="module")
def truth():
    return make.rider_truth()


def test_files_are_byte_for_byte_what_the_command_makes(tmp_path):
    subprocess.run([sys.executable, FOLDER / "make.py", tmp_path], check=True, cwd=tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {*FITS, "setup.toml"}
    for made in tmp_path.iterdir():
        assert made.read_bytes() == (FOLDER / made.name).read_bytes(), made.name


@pytest.mark.parametrize("unit", make.UNITS, ids=lambda u: u.label)
def test_fitparse_reads_every_sample_that_was_written(files, unit):
    written, read = make.channels(unit), files[unit.label]
    np.testing.assert_allclose(read["time_s"], written["time_s"], atol=1e-6)
    for name in FIT_NAMES.values():
        np.testing.assert_array_equal(read[name], written[name], err_msg=name)


@pytest.mark.parametrize("name", FITS)
def test_checksum_is_a_real_one(name):
    data = bytearray((FOLDER / name).read_bytes())
    data[-8] ^= 0x10  # a byte of the last message's content
    with pytest.raises(fitparse.utils.FitCRCError):
        list(fitparse.FitFile(io.BytesIO(bytes(data)), check_crc=True).get_messages())


@pytest.mark.parametrize("name", FITS)
def test_no_file_carries_position_or_is_large(name):
    fields = {field.name for message in messages(name) for field in message.fields}
    assert not {f for f in fields if "position" in f or f.endswith(("_lat", "_long")) or "altitude" in f}
    assert (FOLDER / name).stat().st_size < 250_000


@pytest.mark.parametrize("unit", make.UNITS, ids=lambda u: u.label)
def test_sensor_is_named_with_firmware_and_battery(unit):
    infos = [m.get_values() for m in messages(f"{unit.label}.fit") if m.name == "device_info"]
    (power,) = [i for i in infos if i.get("antplus_device_type") == "bike_power"]
    assert power["product_name"] == unit.product_name
    assert power["software_version"] == pytest.approx(float(unit.firmware))
    assert power["battery_voltage"] == pytest.approx(unit.battery_v, abs=1 / 256)


def test_setup_is_accepted_and_fits_the_files(truth):
    setup = setup_from_toml((FOLDER / "setup.toml").read_text())
    assert [d.file for d in setup.devices] == list(FITS)
    assert setup.reference == "hub"
    assert sum(step.duration_s for step in setup.plan) == truth.duration_s
    assert {"steady", "transient", "free", "idle"} == {step.kind for step in setup.plan}


def shift_by(channel, device, reference):
    """Seconds to add to the device's clock, by the best correlation on a 0.05 s grid: the plainest second method."""
    grid_s = np.arange(reference["time_s"][0] + 60, reference["time_s"][-1] - 60)
    ours = reference[channel][np.searchsorted(reference["time_s"], grid_s)]
    good = np.isfinite(device[channel])
    fits = {}
    for shift_s in np.arange(-15.0, 15.0, 0.05):
        theirs = np.interp(grid_s, device["time_s"][good] + shift_s, device[channel][good])
        fits[shift_s] = np.corrcoef(ours, theirs)[0, 1]
    return max(fits, key=fits.get)


@pytest.mark.parametrize("label", ["spider", "pedals"])
@pytest.mark.parametrize(("channel", "tol_s"), [("cadence_rpm", 0.12), ("heart_rate_bpm", 0.35)])
def test_shared_channels_show_the_planted_shift(files, label, channel, tol_s):
    """Tolerances: a 0.05 s grid, whole rpm and bpm, 0.05 s of drift; heart rate moves slowly."""
    assert shift_by(channel, files[label], files["hub"]) == pytest.approx(-CLOCK_AHEAD_S[label], abs=tol_s)


def test_only_the_pedals_power_is_late_by_the_planted_lag(files):
    lag_s = {label: -shift_by("power_w", files[label], files["hub"]) - CLOCK_AHEAD_S[label] for label in CLOCK_AHEAD_S}
    assert lag_s["spider"] == pytest.approx(0.0, abs=0.12)
    assert lag_s["pedals"] == pytest.approx(make.PEDAL_LAG_S, abs=0.2)


def held(files, truth, name):
    """Mean power per label over the hold's interior on the true clock. [W]"""
    start_s, end_s = make.step_span_s(truth, name)
    means = {}
    for label, got in files.items():
        true_s = got["time_s"] - EPOCH_S - CLOCK_AHEAD_S[label]
        means[label] = np.nanmean(got["power_w"][(true_s >= start_s + 30) & (true_s < end_s - 5)])
    return means


def upper_edge_pct():
    """Worst-case allowance of pedals over hub: claims 1.5 and 1.5 %, loss up to 4 %."""
    return 100 * ((1 / (1 - 0.04)) * (1.015 / 0.985) - 1)


EARLY = ("warm-up", "hold 120 up", "hold 160 up", "hold 200 up")
LATE = ("hold 200 down", "hold 160 down", "hold 120 down", "cadence 60", "cadence 105", "hold 160 again")


def test_pedals_read_true_cold_and_creep_out_of_the_allowance(files, truth):
    assert upper_edge_pct() == pytest.approx(7.34, abs=0.01)
    delta_pct = {}
    for name in EARLY + LATE:
        mean_w = held(files, truth, name)
        delta_pct[name] = 100 * (mean_w["pedals"] / mean_w["hub"] - 1)
    assert max(delta_pct[n] for n in EARLY) < upper_edge_pct() - 1.0
    assert min(delta_pct[n] for n in LATE) > upper_edge_pct() + 1.0
    assert delta_pct["hold 160 again"] - delta_pct["warm-up"] > 6.5


def test_spider_agrees_with_the_loss_in_every_hold(files, truth):
    """Planted: +0.4 % on top of 1.95 % and 0.6 W of chain loss; hold means are good to about 0.2 %."""
    for name in EARLY + LATE:
        mean_w = held(files, truth, name)
        lossless_w = (mean_w["hub"] + make.CHAIN_LOSS_W) / (1 - make.CHAIN_LOSS_FRAC)
        assert mean_w["spider"] == pytest.approx(1.004 * lossless_w, rel=0.004), name


def test_one_dropout_and_one_pause_with_its_timer_events(files):
    pedals = files["pedals"]
    lost = np.isnan(pedals["power_w"])
    assert lost.sum() == make.DROPOUT_S
    assert np.isfinite(pedals["heart_rate_bpm"][lost]).all()
    (at,) = np.flatnonzero(np.diff(pedals["time_s"]) > 1)
    events = [m.get_values() for m in messages("pedals.fit") if m.name == "event"]
    assert [e["event_type"] for e in events] == ["start", "stop_all", "start", "stop_all"]
    stamps = [(e["timestamp"] - np.datetime64(0, "s").item()).total_seconds() for e in events[1:3]]
    assert stamps == [pedals["time_s"][at], pedals["time_s"][at + 1]]
    assert not pedals["cadence_rpm"][at - 2 : at + 1].any()


def test_reading_the_trial_needs_no_numpy():
    code = (
        "import sys, sample_data as s; assert list(s.recordings()) == ['hub.fit', 'pedals.fit', 'spider.fit']; "
        "assert '[trial]' in s.setup_text(); sys.exit('numpy' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=FOLDER.parents[1])


def test_an_unknown_trial_is_refused_with_the_list():
    with pytest.raises(KeyError, match="boathouse"):
        sample_data.recordings("../secret")
