"""Zoom and hover with eight recordings of ten hours, in the browser, the server's answer included.

Referee: a bare Dash page with one graph of the same power lines undecimated, every sample, zoomed with plotly's own call in
the same run; it draws no strips, no shades, no blocks and asks no server.
`pytest tests/bench -m bench -s` prints the figures.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install -e .[test]")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))

import plotly.graph_objects as go
from driving import DESK, chart_drawn, running_chromium, running_site
from long_ride import long_ride
from test_first_view import LINE, bare_site

from app.services import create_trial

pytestmark = [pytest.mark.bench, pytest.mark.browser]

DEVICES, HOURS, TURNS, RATIO = 8, 10, 7, 1.0
VIEWS = [(3600.0 * i, 3600.0 * (i + 3)) for i in range(TURNS)]
OURS = """([from, to]) => new Promise((done) => {
  const began = performance.now(), gd = document.querySelector("#overlay .js-plotly-plot");
  const look = () => {
    const seen = gd.layout.meta.view;
    if (seen[0] !== from || seen[1] !== to) return;
    gd.removeListener("plotly_afterplot", look);
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - began), 0));
  };
  gd.on("plotly_afterplot", look);
  countercheck.view.look([from, to]);
})"""
PEER = """([from, to]) => new Promise((done) => {
  const began = performance.now(), gd = document.querySelector(".js-plotly-plot");
  Plotly.relayout(gd, {"xaxis.range": [from, to]}).then(
    () => requestAnimationFrame(() => setTimeout(() => done(performance.now() - began), 0)));
})"""
HOVER = """() => {
  const layer = document.getElementById("scrub-layer"), box = layer.getBoundingClientRect(), taken = [];
  for (let i = 0; i < 40; i++) {
    const began = performance.now();
    const at = {clientX: box.left + box.width * i / 40, clientY: box.top + 50, bubbles: true};
    layer.dispatchEvent(new PointerEvent("pointermove", at));
    document.body.offsetHeight;
    taken.push(performance.now() - began);
  }
  return taken;
}"""


def undecimated(trial) -> go.Figure:
    figure = go.Figure()
    for recording in trial.recordings:
        power = recording.channels["power_w"].astype(np.float32)
        figure.add_scatter(x=recording.time_s.astype(np.float32), y=power, mode="lines")
    return figure


def test_zoom_and_hover_over_eight_recordings_of_ten_hours(tmp_path):
    with running_chromium() as browser, running_site(tmp_path) as site:
        files = [site.upload(long_ride(i, 1 + 0.01 * i, hours=HOURS), f"device {i}.csv") for i in range(DEVICES)]
        trial_id = create_trial(site.services, files, {}).trial_id
        page = browser.new_page(viewport=DESK)
        page.goto(f"{site.address}/trial/{trial_id}")
        for _ in range(1200):
            if page.query_selector("h1#headline"):
                break
            page.wait_for_timeout(500)
        chart_drawn(page)
        ours = [page.evaluate(OURS, list(view)) for view in VIEWS]
        hover = page.evaluate(HOVER)
        trial = site.services.jobs.ask(trial_id).open_trial.trial
        page.close()
        with bare_site(undecimated(trial)) as bare:
            page = browser.new_page(viewport=DESK)
            page.goto(bare)
            page.wait_for_selector(LINE, state="attached", timeout=120_000)
            page.wait_for_timeout(1000)
            peers = [page.evaluate(PEER, list(view)) for view in VIEWS]
            page.close()
    ratio = statistics.median(ours) / statistics.median(peers)
    print(
        f"\nzoom, {DEVICES} recordings of {HOURS} h: {statistics.median(ours):.0f} ms, bare and undecimated "
        f"{statistics.median(peers):.0f} ms, ratio {ratio:.2f}; hover {statistics.median(hover):.1f} ms"
    )
    assert ratio <= RATIO
