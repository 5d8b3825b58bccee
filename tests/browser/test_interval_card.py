"""What the interval card says beyond delta and verdict, and that what was unfolded stays so. Referee: the analysis itself."""

from __future__ import annotations

import pytest
from driving import DESK, PHONE, eventually

from analysis.within import within

CARD = "document.querySelector('#interval-card [data-window]').dataset.window"


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_peaks_cadence_lag_and_drop_outs_of_the_interval(open_trial, site, size):
    page = open_trial("?from=1640.0&to=2150.0", viewport=size)
    eventually(page, CARD, "1640.000 2150.000")
    fold = page.locator("#interval-card details[data-fold]").last
    fold.locator("summary").click()
    found = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial
    label = found.trial.labels[-1]
    one = within(found.trial, label, 1640.0, 2150.0)
    rows = fold.locator(".card-peaks tbody tr").all_inner_texts()
    assert [row.split("\t")[1] for row in rows] == [f"{peak.best_w:.0f}" for peak in one.peaks]
    words = fold.inner_text()
    lag = next(r for r in found.report["response"] if r["label"] == label)["lag_s"]
    assert "cadence" in words and "drop-outs" in words and "property of the device" in words
    assert lag is None or f"{abs(lag):.2f}" in words
    assert "allowance, likely" in page.inner_text("#interval-card")
    # another interval: the fold stays open and tells of that one
    page.evaluate("window.countercheck.overlay.choose(600, 900, true)")
    eventually(page, CARD, "600.000 900.000")
    again = page.locator("#interval-card details[data-fold]").last
    assert again.get_attribute("open") is not None
    other = within(found.trial, label, 600.0, 900.0)
    assert again.locator(".card-peaks tbody tr").first.inner_text().split("\t")[1] == f"{other.peaks[0].best_w:.0f}"
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
