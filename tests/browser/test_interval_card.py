"""What the interval card says beyond delta and verdict, and that what was unfolded stays so. Referee: the analysis itself."""

from __future__ import annotations

import pytest
from driving import DESK, PHONE, eventually

from analysis.judging import judge_interval
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


def printed(value: float, unit: str) -> str:
    text = f"{value:+.1f}"
    return ("0.0" if float(text) == 0 else text.replace("-", "−")) + "\u202f" + unit


def told(entry, unit: str) -> list[str]:
    """What the card says of one device, in its order, for the unit chosen."""
    large, small = ("pct", "w") if unit == "pct" else ("w", "pct")
    sign = {"pct": "%", "w": "W"}

    def span(limits, one):
        return " to ".join(printed(edge, "") for edge in limits).replace("\u202f", "") + "\u202f" + sign[one]

    def interval(one):
        return span(getattr(entry, f"delta_{one}_ci"), one)

    return [
        entry.verdict, printed(getattr(entry, f"delta_{large}"), sign[large]), interval(large),
        span(entry.allowance_pct, "pct"), span(entry.likely_allowance_pct, "pct"),
        printed(getattr(entry, f"delta_{small}"), sign[small]), interval(small),
    ]  # fmt: skip


@pytest.mark.parametrize(("against", "unit"), [("spider", "pct"), ("pedals", "w"), ("hub", "w")])
def test_another_pair_has_the_figures_allowance_and_verdict_of_that_pair(open_trial, site, against, unit):
    page = open_trial("?from=1640.0&to=2150.0")
    page.get_by_label("Held against").select_option("" if against == "hub" else against)
    page.get_by_role("button", name="W" if unit == "w" else "%", exact=True).click()
    found = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial
    edges = [b["start_s"] for b in found.report["blocks"]]
    judged = judge_interval(found.trial, 1640.0, 2150.0, edges_s=edges, against=against)
    assert len(judged) == 2
    shown = "document.querySelectorAll('#interval-card .card-device').length"
    eventually(page, "document.querySelector('#interval-card .card-row .label-text').textContent", against)
    sign = "W" if unit == "w" else "%"
    eventually(page, f"document.querySelector('#interval-card .card-delta').textContent.endsWith('{sign}')")
    for entry, box in zip(judged, page.locator("#interval-card .card-device").all(), strict=True):
        assert box.locator(".label-text").inner_text() == entry.label
        said = [box.locator(".verdict").text_content()[1:], box.locator(".card-delta").text_content()]
        said += box.locator("> dl dd").all_text_contents()[:5]
        assert said == told(entry, unit)
    words = page.text_content("#interval-card")
    assert ("headline and findings are against hub" in words) is (against != "hub")
    assert ("response lag" in words) is (against == "hub"), "a lag is known against the reference alone"
    page.get_by_label("Device shown").select_option(judged[0].label)
    eventually(page, shown, 1)
    eventually(page, "new URLSearchParams(location.search).get('device')", judged[0].label)
    address = page.evaluate("location.pathname + location.search")
    page.goto(site.address + address)
    page.wait_for_selector("#interval-card .card-device")
    assert page.evaluate(shown) == 1
    assert page.locator("#interval-card .card-delta").text_content() == told(judged[0], unit)[1]


@pytest.mark.parametrize(
    ("query", "span", "words"),
    [
        ("?from=600&to=601", "600.000 601.000", "too short"),
        ("?from=0&to=99999", "0.000 3916.000", "Whole trial"),
        ("?from=600&to=600.2", "0.000 3916.000", "Whole trial"),
        ("?from=900&to=600", "0.000 3916.000", "Whole trial"),
        ("?from=-900&to=-600", "0.000 3916.000", "Whole trial"),
        ("?from=nan&to=inf&view=a,b&mean=7&rows=x,,cadence&unit=lbs&axis=3&against=&device=<b>", "0.000 3916.000", "Whole trial"),
        ("?from=3900&to=8000", "3900.000 3916.000", "Interval"),
    ],
)
def test_whatever_interval_an_address_names_the_card_says_what_it_shows(open_trial, site, query, span, words):
    page = open_trial(query)
    trial = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial.trial
    span = span.replace("0.000 3916.000", f"{trial.start_s:.3f} {trial.end_s:.3f}").replace("3916.000", f"{trial.end_s:.3f}")
    eventually(page, CARD, span)
    assert words in page.inner_text("#interval-card")
    assert "NaN" not in page.inner_text("#interval-card") and "None" not in page.inner_text("#interval-card")
    assert page.locator("#chart-box").get_attribute("data-drawing") is None
