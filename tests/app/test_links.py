"""Addresses. Referee: the round trip over random values (hypothesis), and nonsense typed by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import links
from app.screen import Screen

IDS = st.from_regex(rf"\A{links.ID_PATTERN}\Z")
TIMES = st.floats(min_value=-1e6, max_value=1e6, allow_nan=False)


@given(IDS, TIMES, TIMES)
def test_an_address_says_what_it_was_made_from_to_the_millisecond(trial_id, a, b):
    low, high = sorted((round(a, 3), round(b, 3)))
    screen = Screen(window=(low, high) if low < high else None, unit="w")
    found = links.parse("http://localhost:8417" + links.trial_path(trial_id, screen, section="findings"))
    assert found == links.TrialAddress(trial_id=trial_id, screen=screen)


@given(IDS, TIMES, TIMES)
def test_making_an_address_of_what_was_read_gives_the_same_address(trial_id, a, b):
    path = links.trial_path(trial_id, Screen(window=(min(a, b), max(a, b) + 0.01)))
    found = links.parse(path)
    assert links.trial_path(found.trial_id, found.screen) == path


def test_the_address_looks_as_promised():
    trial_id = "t" * 32
    assert links.trial_path(trial_id, Screen(window=(612.0, 733.5))) == f"/trial/{trial_id}?from=612.0&to=733.5"
    assert links.trial_path(trial_id, section="clocks") == f"/trial/{trial_id}#clocks"
    assert links.trial_path(trial_id) == f"/trial/{trial_id}"


@pytest.mark.parametrize(
    "address", ["/", "/trial/", "/trial/short", f"/trial/{'t' * 32}/more", f"/trials/{'t' * 32}", f"/trial/{'t' * 21}é"]
)
def test_other_addresses_are_no_trial(address):
    assert links.parse(address) is None


@given(st.text())
def test_no_text_breaks_the_reader(text):
    links.is_id(text)
    links.parse(text)
    links.parse(f"http://[{text}")
