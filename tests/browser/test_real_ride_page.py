"""A trial of a real ride and a copy of it, another gain and clock: the whole page comes. Referee: what was done to the copy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from driving import PHONE, chart_drawn, eventually
from page_list import walked

from analysis.reading import read
from analysis.setup import setup_from_dict
from app.services import create_trial

RIDES = Path(__file__).resolve().parents[3] / "shared" / "rides"
GAIN, LATE_S = 1.04, 7.0


pytestmark = pytest.mark.skipif(not RIDES.is_dir(), reason="the folder with real recordings is not beside the project")


@pytest.fixture(scope="module", params=["ride-01.fit", "ride-02.fit"])
def trial(request, site):
    data = (RIDES / request.param).read_bytes()
    own = read(data, name=request.param).samples
    power = np.random.default_rng(3).normal(GAIN, 0.02, len(own)) * own["power_w"].to_numpy(float)
    lines = [f"{t + LATE_S:.0f},{'' if np.isnan(p) else max(round(p), 0)}" for t, p in zip(own["time_s"], power, strict=True)]
    files = [site.upload(data, "ride.fit"), site.upload(("timestamp,power\n" + "\n".join(lines)).encode(), "copy.csv")]
    said = [{"file": "ride.fit", "label": "ride", "point": "hub"}, {"file": "copy.csv", "label": "copy", "point": "hub"}]
    return create_trial(site.services, files, setup_from_dict({"trial": {"reference": "ride"}, "device": said})).trial_id


def test_it_loads_is_scrubbed_and_fills(open_page, site, trial):
    page = open_page(f"/trial/{trial}")
    chart_drawn(page)
    page.wait_for_selector("tr[data-block]")
    walked(page)
    for part in ("#recordings", "#blocks"):
        assert page.inner_text(part).strip(), part
    found = site.services.jobs.ask(trial).open_trial
    layer = page.locator("#scrub-layer")
    layer.scroll_into_view_if_needed()
    box = layer.bounding_box()
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 80)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 80, steps=8)
    page.mouse.up()
    # the card is at most one step behind the hand, and ends where the hand ends
    span_s = found.trial.end_s - found.trial.start_s
    told = "document.querySelector('#interval-card [data-window]').dataset.window.split(' ').map(Number)"
    eventually(page, f"(([from, to]) => Math.abs((to - from) / {span_s} - 0.2) < 0.01)({told})", timeout_ms=30_000)
    assert "copy" in page.inner_text("#interval-card")
    # the copy reads high by the gain it was given, and the report says by about how much its clock is late
    deltas = [d["delta_pct"] for d in found.report["deltas"] if d["delta_pct"] is not None]
    assert np.median(deltas) == pytest.approx(100 * (GAIN - 1), abs=0.7)


def test_on_a_phone_nothing_runs_off_the_side(open_page, trial):
    page = open_page(f"/trial/{trial}", viewport=PHONE, color_scheme="dark")
    chart_drawn(page)
    page.wait_for_selector("tr[data-block]")
    walked(page)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
