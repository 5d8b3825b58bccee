"""What a reader looks at. Referee: the round trip through address and store over random screens (hypothesis), and nonsense."""

from __future__ import annotations

import json
from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.screen import AXES, MAX_LABEL, MEANS_S, OPENING, ROWS, UNITS, Screen, from_query, from_store, interval_of

TIMES = st.floats(min_value=-1e6, max_value=1e6, allow_nan=False).map(lambda t: round(t, 3) + 0.0)
INTERVALS = st.none() | st.tuples(TIMES, TIMES).map(sorted).filter(lambda pair: pair[0] < pair[1]).map(tuple)
LABELS = st.none() | st.text(min_size=1, max_size=MAX_LABEL)
SCREENS = st.builds(
    Screen, window=INTERVALS, view=INTERVALS, device=LABELS, against=LABELS, unit=st.sampled_from(UNITS),
    mean_s=st.none() | st.sampled_from(MEANS_S), axis=st.sampled_from(AXES),
    rows=st.sets(st.sampled_from(ROWS)).map(lambda some: tuple(row for row in ROWS if row in some)),
)  # fmt: skip
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=6,
)
KEYS = ("from", "to", "view", "device", "against", "unit", "mean", "rows", "axis", "x")


def read(text: str) -> Screen:
    return from_query(dict(parse_qsl(text, keep_blank_values=True)))


@given(SCREENS)
def test_an_address_shows_the_screen_it_was_made_from(screen):
    assert read(screen.query()) == screen


@given(SCREENS)
def test_the_stores_hold_the_screen_they_were_made_from(screen):
    sent = json.loads(json.dumps([screen.to_store(), screen.window, screen.view]))
    assert from_store(sent[0], window=sent[1], view=sent[2]) == screen


@given(st.dictionaries(st.sampled_from(KEYS), st.text(max_size=30)))
def test_whatever_is_typed_as_an_address_reads_as_some_screen_that_keeps_its_address(query):
    screen = from_query(query)
    assert read(screen.query()).query() == screen.query()


@given(ANYTHING, ANYTHING, ANYTHING)
def test_whatever_a_browser_sends_reads_as_some_screen(choices, window, view):
    assert isinstance(from_store(choices, window=window, view=view), Screen)


def test_only_what_differs_from_the_opening_page_stands_in_the_address():
    assert OPENING.query() == ""
    screen = Screen(
        window=(612.0, 733.5), view=(600.0, 900.0), against="left crank", unit="w", mean_s=10, rows=("cadence", "balance")
    )
    assert screen.query() == "from=612.0&to=733.5&view=600.0,900.0&against=left+crank&unit=w&mean=10&rows=cadence,balance"


@pytest.mark.parametrize(
    "query",
    ["from=5", "from=2&to=1", "from=nan&to=1", "from=1e300&to=2e300", "from=&to=", "view=5", "view=1,2,3", "view=9,1", "unit=kg",
     "mean=2", "mean=-3", "mean=1e1", "mean=²", "rows=power", "rows=", "axis=sun", "device=", "utm=x"],
)  # fmt: skip
def test_nonsense_is_the_opening_page(query):
    assert read(query) == OPENING


@pytest.mark.parametrize("data", [None, 7, "ab", [1], [1, "a"], [5, 1], {}, [True, False], [1, 10**400], [[1], [2]]])
def test_what_is_no_interval_is_none(data):
    assert interval_of(data) is None


def test_labels_that_the_trial_lacks_are_left_out():
    labels = ("hub", "spider", "pedals")
    assert Screen(device="crank", against="wheel").fitted(labels) == OPENING
    assert Screen(against="hub").fitted(labels) == OPENING, "the reference is what all are held against anyway"
    assert Screen(device="hub").fitted(labels) == OPENING, "nothing is held against itself"
    assert Screen(device="hub", against="spider").fitted(labels) == Screen(device="hub", against="spider")
    assert Screen(device="spider", against="spider").fitted(labels) == Screen(against="spider")
