"""A look at another pair: the tables show it, headline and findings stay. Referee: the analysis, asked for the pair."""

from __future__ import annotations

import pytest
from driving import PHONE, eventually

from analysis.pairs import tables_against
from analysis.report import blocks_of


def shown(value: float | None) -> str:
    if value is None:
        return "–"
    text = f"{value:+.1f}"
    return "0.0" if float(text) == 0 else text.replace("-", "−")


@pytest.mark.parametrize("size", [None, PHONE])
def test_tables_show_the_pair_and_headline_and_findings_stay(open_trial, site, size):
    page = open_trial(**({"viewport": size} if size else {}))
    found = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial
    wanted = tables_against(found.trial, blocks_of(found.report), "spider")
    page.locator("#findings").scroll_into_view_if_needed()
    page.wait_for_selector("#findings .finding-text")
    before = page.inner_text("h1#headline"), page.locator(".finding-text").all_inner_texts()
    page.evaluate("countercheck.screen.set({ against: 'spider' })")
    page.wait_for_selector("#blocks .pair-notice", timeout=15_000)
    held = next(d for d in wanted["deltas"] if d["label"] == "pedals" and d["verdict"] == "outside")
    cell = f"tr[data-block='{held['block']}'] .delta-pct[data-device='pedals']"
    assert page.locator(cell).text_content().strip() == shown(held["delta_pct"])
    eventually(page, "document.querySelector('#summary .pair-notice') !== null")
    row = next(s for s in wanted["summary"] if s["label"] == "hub" and s["kind"] == "steady")
    assert shown(row["delta_pct"]) in page.inner_text("#summary tbody tr >> nth=0")
    assert "Headline and findings are against hub" in page.inner_text("#summary .pair-notice")
    assert (page.inner_text("h1#headline"), page.locator(".finding-text").all_inner_texts()) == before
    assert "against=spider" in page.url or page.wait_for_url("**against=spider**") is None
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    page.locator("#blocks [data-pair-back]").click()
    eventually(page, "document.querySelectorAll('.pair-notice').length", 0)
    first = next(d for d in found.report["deltas"] if d["label"] == "pedals" and d["block"] == held["block"])
    assert page.locator(cell).text_content().strip() == shown(first["delta_pct"])


def test_an_address_opens_the_pair_at_once(open_trial, site):
    page = open_trial("?against=pedals&device=hub&unit=w")
    assert "hub against pedals" in page.inner_text("#blocks .pair-notice")
    groups = page.evaluate("[...document.querySelectorAll('#blocks thead th[scope=colgroup]')].map(t => t.innerText.trim())")
    assert groups == ["hub"]
    assert page.evaluate("document.documentElement.dataset.unit") == "w"


def test_an_address_with_an_unknown_pair_shows_the_reference(open_trial):
    page = open_trial("?against=nobody&device=nothing")
    assert page.locator(".pair-notice").count() == 0
