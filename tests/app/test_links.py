"""Addresses. Referee: the round trip over random values (hypothesis), and nonsense typed by hand."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import links

IDS = st.from_regex(rf"\A{links.ID_PATTERN}\Z")
TIMES = st.floats(min_value=-1e6, max_value=1e6, allow_nan=False)


@given(IDS, TIMES, TIMES)
def test_an_address_says_what_it_was_made_from_to_the_millisecond(trial_id, a, b):
    low, high = sorted((round(a, 3), round(b, 3)))
    window = (low, high) if low < high else None
    found = links.parse("http://localhost:8417" + links.trial_path(trial_id, window))
    assert found == links.TrialAddress(trial_id=trial_id, window=window)


@given(IDS, TIMES, TIMES)
def test_making_an_address_of_what_was_read_gives_the_same_address(trial_id, a, b):
    path = links.trial_path(trial_id, (min(a, b), max(a, b) + 0.01))
    found = links.parse(path)
    assert links.trial_path(found.trial_id, found.window) == path


def test_the_address_looks_as_promised():
    assert links.trial_path("t" * 32, (612.0, 733.5)) == f"/trial/{'t' * 32}?from=612.0&to=733.5"
    assert links.trial_path("t" * 32) == f"/trial/{'t' * 32}"


@pytest.mark.parametrize(
    "query",
    [
        {}, {"from": "1"}, {"to": "1"}, {"from": "2", "to": "1"}, {"from": "1", "to": "1"}, {"from": "nan", "to": "1"},
        {"from": "-inf", "to": "inf"}, {"from": "a", "to": "b"}, {"from": "1e300", "to": "1e301"},
        {"from": "", "to": ""}, {"from": None, "to": "1"}, {"from": "<script>", "to": "1"},
    ],
)  # fmt: skip
def test_an_interval_that_makes_no_sense_is_none(query):
    assert links.parse_window(query) is None


def test_unknown_keys_cost_nothing():
    assert links.parse_window({"from": "-3.5", "to": "4", "utm": "x"}) == (-3.5, 4.0)


@pytest.mark.parametrize(
    "address", ["/", "/trial/", "/trial/short", f"/trial/{'t' * 32}/more", f"/trials/{'t' * 32}", f"/trial/{'t' * 21}é"]
)
def test_other_addresses_are_no_trial(address):
    assert links.parse(address) is None


@given(st.text())
def test_no_text_breaks_the_reader(text):
    links.is_id(text)
    try:
        urlsplit(text)
    except ValueError:
        return
    links.parse(text)
