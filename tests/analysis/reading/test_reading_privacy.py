"""Nothing that says where, who, or which single device may survive reading."""

from __future__ import annotations

import itertools
import pickle

import fitparse
import pytest
from real_rides import expected_files

from analysis.reading import CHANNELS, read

FILES = [n for n, f in expected_files().items() if f["expected_outcome"] != "refused"]


def _secrets(path) -> dict[str, set]:
    """What must not survive, as fitparse sees it: positions (semicircles, degrees), serial numbers, the rider."""
    secrets: dict[str, set] = {"place": set(), "serial": set(), "rider": set()}
    try:
        # the first thousands of messages: names, numbers and places stand there as everywhere
        for message in itertools.islice(fitparse.FitFile(str(path), check_crc=False).get_messages(), 4000):
            for item in message.fields:
                if item.name in ("position_lat", "position_long") and item.raw_value is not None:
                    secrets["place"].add(item.raw_value)
                if item.name in ("serial_number", "ant_device_number") and item.raw_value:
                    secrets["serial"].add(item.raw_value)
                if message.name == "user_profile" and item.name in ("friendly_name", "weight", "age", "height"):
                    secrets["rider"].add(item.name)
    except fitparse.utils.FitParseError:
        pass
    return secrets


def _numbers(value):
    if isinstance(value, dict):
        for entry in value.values():
            yield from _numbers(entry)
    elif isinstance(value, (list, tuple)):
        for entry in value:
            yield from _numbers(entry)
    else:
        yield value


@pytest.mark.parametrize("name", FILES)
def test_no_position_serial_or_rider_survives(name, rides):
    recording = read((rides / name).read_bytes(), name=name)
    secrets = _secrets(rides / name)
    assert set(recording.samples.columns) <= {"time_s", *CHANNELS}
    held = pickle.dumps(recording)
    for semicircles in list(secrets["place"])[::50]:
        degrees = semicircles * 180 / 2**31
        for column in recording.samples.columns:
            assert not ((recording.samples[column] - degrees).abs() < 1e-7).any() or degrees == 0
    found = {str(n) for n in _numbers(recording.facts)}
    for serial in (s for s in secrets["serial"] if isinstance(s, int) and s > 70000):  # short ones occur by chance
        assert not {str(serial), str(float(serial))} & found
        assert str(serial).encode() not in held
    assert not any(word in str(recording.facts) for word in ("user_profile", "weight", "height", "position"))
