"""The report in one file of four recordings of four hours: its size, how soon it stands, a scrub's figures, its memory.

Peer of the opening: an empty page that loads the same charting library and draws one line, in the same run.
`pytest tests/bench -m bench -s` prints it.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install -e .[test]")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))

from driving import DESK, running_chromium
from long_ride import HOURS, four_hours

from analysis import pipeline, reading
from analysis.archive import pack, unpack
from analysis.setup import Setup
from app.offline import offline_report
from app.places import assets_dir

pytestmark = [pytest.mark.bench, pytest.mark.browser]

MOST_BYTES, MOST_MS, MOST_GROWTH_MB, RATIO, TURNS, SCRUBS = 5_000_000, 100, 10, 4.0, 5, 200
DRAWN = "performance.getEntriesByName('drawn').length ? performance.getEntriesByName('drawn')[0].startTime : 0"
WATCH = """new MutationObserver(() => {
  if (!performance.getEntriesByName("drawn").length && document.querySelector(".scatterlayer .trace")) performance.mark("drawn");
}).observe(document, {childList: true, subtree: true});"""
SCRUB = """() => {
  const whole = countercheck.overlay.whole(), taken = [];
  for (let i = 0; i < 50; i += 1) {
    const began = performance.now();
    countercheck.alone.card([whole[0] + 5 + 10 * i, whole[1] - 3 - 20 * i]);
    taken.push(performance.now() - began);
  }
  return taken;
}"""


def opened_ms(browser, file: Path) -> float:
    page = browser.new_page(viewport=DESK)
    page.add_init_script(WATCH)
    page.goto(file.as_uri())
    page.wait_for_selector(".scatterlayer .trace", state="attached")
    taken = page.evaluate(DRAWN)
    page.close()
    return taken


def test_four_recordings_of_four_hours(tmp_path):
    recordings = [reading.read(four_hours(i, 1 + 0.01 * i), name=f"device {i}.csv") for i in range(4)]
    text = offline_report(unpack(pack(pipeline.compare(recordings, Setup()))))
    ours, bare = tmp_path / "report.html", tmp_path / "bare.html"
    ours.write_text(text, encoding="utf-8", newline="")
    library = (assets_dir() / "05-plotly-basic.min.js").read_text(encoding="utf-8")
    line = 'Plotly.newPlot("chart", [{type: "scatter", y: [1, 2, 3]}])'
    bare.write_text(f'<div id="chart"></div><script>{library}</script><script>{line}</script>', encoding="utf-8")
    with running_chromium() as browser:
        opening = statistics.median(opened_ms(browser, ours) for _ in range(TURNS))
        peer = statistics.median(opened_ms(browser, bare) for _ in range(TURNS))
        page = browser.new_page(viewport=DESK)
        page.goto(ours.as_uri())
        page.wait_for_selector("#overlay .scatterlayer .trace", state="attached")
        page.evaluate("countercheck.alone.card(null)")
        p95 = np.percentile(page.evaluate(SCRUB), 95)
        session = page.context.new_cdp_session(page)
        held = []
        for scrubs in (10, SCRUBS):
            for i in range(scrubs):
                page.evaluate("(i) => countercheck.overlay.choose(100 + i, 1000 + 40 * i, true)", i)
                page.wait_for_timeout(10)
            session.send("HeapProfiler.collectGarbage")
            held.append(page.evaluate("performance.memory.usedJSHeapSize") / 1e6)
    print(
        f"\nreport in one file, four recordings of {HOURS} h: {len(text.encode()) / 1e6:.2f} MB, overlay after {opening:.0f} ms "
        f"(bare chart {peer:.0f} ms), card p95 {p95:.0f} ms, {held[1]:.0f} MB held, {held[1] - held[0]:+.1f} over {SCRUBS} scrubs"
    )
    assert len(text.encode()) < MOST_BYTES
    assert p95 <= MOST_MS
    assert held[1] - held[0] < MOST_GROWTH_MB
    assert opening / peer <= RATIO
