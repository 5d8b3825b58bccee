"""First guesses from a file's name. Referee: names as riders write them, by hand."""

import pytest

from analysis.reading.naming import guess_label, guess_point, hash_serial


@pytest.mark.parametrize(
    ("name", "label", "point"),
    [
        ("hub.fit", "hub", "hub"),
        ("2024-05-31-14-30-05_left_pedals.fit.gz", "left pedals", "pedal"),
        ("Trainer A.csv", "Trainer A", "trainer"),
        ("github export.fit", "github export", None),
        ("pedal-vs-hub.fit", "pedal vs hub", None),
        ("20240531.fit", "20240531", None),
        ("rides/rollers_1.fit", "rollers 1", "roller"),
        ("", "unnamed file", None),
    ],
)
def test_label_and_point(name, label, point):
    assert (guess_label(name), guess_point(name)) == (label, point)


def test_a_serial_number_cannot_be_read_from_its_hash():
    assert hash_serial(123456789) == hash_serial(123456789) != hash_serial(123456788)
    assert len(hash_serial(1)) == 8 and "123456789" not in hash_serial(123456789)
