"""A dossier's page as one file, opened from the disk with the network off: complete, and nothing on it that needs a server."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace

import pytest
from driving import DESK, PHONE, eventually
from open_trials import boathouse

from analysis.bench_sheet import Row
from analysis.dossier.digest import digest_of
from analysis.dossier.document import BenchEntry, Dated, Device, Dossier, Firmware, Incident, TrialEntry
from app.dossiers.one_file import page_as_file
from app.store.dossiers import StoredDossier

AXE = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-core is not installed")
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}}
EVIL = '<img src=x onerror=alert(1)> & "co"'
# What a button of such a page may do: change the theme; sort, filter and copy a table.
KNOWN_BUTTONS = "#theme-switch, button.sorter, [data-tool], .head-sort button"


def trial_of(i: int, digest: dict) -> TrialEntry:
    summary = [{**row, "delta_pct": row["delta_pct"] and row["delta_pct"] + 0.3 * i} for row in digest["summary"]]
    return TrialEntry(
        key=f"t{i}", name=f"Evening {i} {EVIL if i == 2 else ''}".strip(), label="pedals", day=f"2026-03-0{i}", rider="A",
        digest={**digest, "firmware": "2.07" if i < 3 else "2.10", "summary": summary}, rig="steel",
        link="/trial/secret-address-of-the-trial", note="held outdoors" if i == 2 else None,
    )  # fmt: skip


@pytest.fixture(scope="module")
def stored() -> StoredDossier:
    digest = digest_of(boathouse().report, "pedals")
    stack = Row(quantity="stack height", unit="mm", readings=(14.3, 14.35, 14.4), claimed=14.0, setup=0.5)
    mass = Row(quantity="mass of the pair", unit="g", readings=(310.0, 311.0), claimed=316.0)
    lost = Incident(day="2026-03-02", kind="pairing", what="left side not found", tried="new cell", ended_with="2.10")
    device = Device(name="pedals", point="pedal", claim_pct=1.5, obtained="bought", price=399.0, currency="EUR")
    dossier = Dossier(
        title=f"Pedals, four evenings {EVIL}", device=device, reviewer="R. Ider", licence="CC-BY-4.0",
        conclusion=f"Reads high when warm. {EVIL}\nSound when cold.", trials=tuple(trial_of(i, digest) for i in range(1, 5)),
        firmware=(Firmware(version="2.07", since="2026-02-01"), Firmware(version="2.10", since="2026-03-03")),
        bench=(BenchEntry(device="pedals", row=stack), BenchEntry(device="pedals", row=mass)), incidents=(lost,),
        corrections=(Dated(day="2026-03-09", text="One mass was mistyped."),),
        reply=Dated(day="2026-03-10", text="Thank you.", who="The maker"),
    )  # fmt: skip
    now = "2026-03-11T12:00:00Z"
    return StoredDossier(
        inner_id="inner", address="address-of-the-dossier", private=False, dossier=dossier, version=3, created_utc=now,
        changed_utc=now,
    )  # fmt: skip


@contextmanager
def alone(chromium, folder, stored, **options):
    file = folder / "dossier.html"
    file.write_text(page_as_file(stored), encoding="utf-8", newline="")
    context = chromium.new_context(**{"viewport": DESK, **options})
    context.set_offline(True)
    page, complaints, asked = context.new_page(), [], []
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.on("request", lambda r: asked.append(r.url))
    page.goto(file.as_uri())
    eventually(page, "document.querySelectorAll('#why .main-svg').length > 0")
    yield page
    context.close()
    assert complaints == []
    assert [url for url in asked if not url.startswith(("data:", "blob:"))] == [file.as_uri()]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_it_stands_complete_without_a_network(chromium, tmp_path, stored, size, scheme):
    with alone(chromium, tmp_path, stored, viewport=size, color_scheme=scheme) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        boxes = page.locator("[data-picture]")
        assert boxes.count() == 2
        for i in range(boxes.count()):
            boxes.nth(i).scroll_into_view_if_needed()
            eventually(page, f"!!document.querySelectorAll('[data-picture]')[{i}].querySelector('.main-svg')")
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        assert page.locator("main img, main script").count() == 0
        text = page.inner_text("main")
        for part in (EVIL, "Evening 1", "stack height", "left side not found", "mistyped", "Thank you", "2.10", "Cautions"):
            assert part in text, part
        found = AXE.Axe().run(page, options=RULES).response["violations"]
        assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []


def test_nothing_on_it_needs_a_server(chromium, tmp_path, stored):
    with alone(chromium, tmp_path, stored) as page:
        assert page.locator("form, iframe, link[href], [src]").count() == 0
        dead = "[...document.querySelectorAll('a')].filter((a) => !a.hash || !document.getElementById(a.hash.slice(1))).length"
        assert page.evaluate(dead) == 0
        assert page.evaluate(f"[...document.querySelectorAll('button')].filter((b) => !b.matches('{KNOWN_BUTTONS}')).length") == 0
        assert not [secret for secret in ("secret-address", "address-of-the-dossier") if secret in page.content()]


def test_its_tables_sort_and_its_theme_turns(chromium, tmp_path, stored):
    with alone(chromium, tmp_path, stored) as page:
        button = page.locator("#evidence button.sorter").first
        button.click()
        button.click()
        eventually(page, "document.querySelectorAll('#evidence th[aria-sort=descending]').length", 1)
        paper = "getComputedStyle(document.body).backgroundColor"
        ink = "document.querySelector('#why .js-plotly-plot').layout.font.color"
        first, drawn = page.evaluate(paper), page.evaluate(ink)
        page.click("#theme-switch")
        eventually(page, f"{paper} !== '{first}' && {ink} !== '{drawn}'")


def test_an_empty_one_stands_too(chromium, tmp_path, stored):
    bare = replace(stored, dossier=Dossier(title="Nothing yet", device=Device(name="pedals")))
    file = tmp_path / "empty.html"
    file.write_text(page_as_file(bare), encoding="utf-8", newline="")
    context = chromium.new_context(viewport=PHONE, offline=True)
    page, complaints = context.new_page(), []
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.goto(file.as_uri())
    assert "There is no trial yet" in page.inner_text("#why")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    context.close()
    assert complaints == []
