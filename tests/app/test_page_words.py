"""Numbers as people read them. Referee: written by hand."""

from __future__ import annotations

import pytest

from app import wording


@pytest.mark.parametrize(("value", "text"), [(4.26, "+4.3"), (-4.26, "−4.3"), (0.04, "0.0"), (-0.04, "0.0"), (None, "–")])
def test_signed(value, text):
    assert wording.signed(value) == text


@pytest.mark.parametrize(
    ("limits", "text"), [([1.2, 2.44], "+1.2 to +2.4"), ([-1.0, 0.0], "−1.0 to 0.0"), (None, "–"), ([None, 1.0], "–")]
)
def test_span(limits, text):
    assert wording.span(limits) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "0 s"), (59.6, "1 min"), (750, "12 min 30 s"), (3600, "1 h"), (3909, "1 h 5 min 9 s")]
)
def test_length(seconds, text):
    assert wording.length(seconds).replace(wording.THIN, " ") == text


def test_a_unit_never_parts_from_its_number_and_nothing_has_none():
    assert wording.with_unit("+4.3", "%") == f"+4.3{wording.THIN}%"
    assert wording.with_unit(wording.NOTHING, "%") == wording.NOTHING


def test_channels_in_words():
    names = ("power_w", "heart_rate_bpm", "left_share_frac", "altitude_m")
    assert [wording.channel_words(n) for n in names] == ["power", "heart rate", "left share", "altitude"]


@pytest.mark.parametrize(("iso", "text"), [("2026-01-17T18:05:00+00:00", "2026-01-17 18:05 UTC"), (None, ""), ("soon", "soon")])
def test_day_and_time(iso, text):
    assert wording.day_and_time(iso) == text


def test_a_sentence_never_breaks_between_number_and_unit():
    text = "from +2.7 % at 6 °C to 12 s later, 4 hubs and 3 weeks"
    assert wording.unbroken(text) == text.replace("7 %", "7\u00a0%").replace("6 °", "6\u00a0°").replace("12 s", "12\u00a0s")
