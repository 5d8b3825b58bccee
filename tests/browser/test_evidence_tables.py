"""Tables of evidence in readers' hands: sorted, filtered, copied. Referees: the result's JSON, pandas, the csv module."""

from __future__ import annotations

import csv
import io

import pandas as pd
import pytest
from driving import DESK, PHONE, chart_drawn, eventually

from analysis.setup import setup_from_dict

TABLE = "table[data-table='delta-by-block']"
SHOWN = f'[...document.querySelectorAll("{TABLE} tbody tr:not([hidden])")].map(r => r.dataset.block)'
COPY = {"permissions": ["clipboard-read", "clipboard-write"]}


def report_of(site, path: str) -> dict:
    return site.services.jobs.ask(path.split("/")[-1]).open_trial.report


def column(report: dict, label: str, key: str) -> dict[str, float | None]:
    """Block id -> one figure of one device; an interval by its lower end."""
    found = {d["block"]: d[key] for d in report["deltas"] if d["label"] == label}
    return {b["id"]: found.get(b["id"]) for b in report["blocks"]}


def ordered(values: dict[str, float | None], *, down: bool) -> list[str]:
    there = [b for b, value in values.items() if value is not None]
    there.sort(key=lambda b: -values[b] if down else values[b])
    return there + [b for b, value in values.items() if value is None]


def sorters(report: dict) -> list[tuple[str, dict[str, float | None]]]:
    """Every column of figures by the whole name of its button, with the JSON's values."""
    labels = [r["label"] for r in report["recordings"] if r["label"] != report["reference"]]
    blocks = report["blocks"]
    found = [("from–to", {b["id"]: b["start_s"] for b in blocks}), ("long", {b["id"]: b["end_s"] - b["start_s"] for b in blocks})]
    for label in labels:
        found += [
            (f"{label} delta, W", column(report, label, "delta_w")),
            (f"{label} delta, %", column(report, label, "delta_pct")),
        ]
        limits = column(report, label, "delta_pct_ci")
        found.append((f"{label} 95 % interval, %", {b: ci[0] if ci else None for b, ci in limits.items()}))
    return found


def pressed(page, name: str):
    """The button of a column, by the name that a copy gives it."""
    return page.evaluate_handle(
        f"""name => {{ const t = document.querySelector("{TABLE}");
            const top = countercheck.tables.markdown(t).split("\\n")[0].slice(2, -2).split(" | ");
            const leaves = [...t.querySelectorAll("button.sorter")];
            leaves.sort((a, b) => a.closest("th").getBoundingClientRect().left - b.closest("th").getBoundingClientRect().left);
            return leaves[top.indexOf(name)]; }}""",
        name,
    ).as_element()


def test_every_column_sorts_both_ways_and_back_to_the_ride(open_trial, site):
    page, report = open_trial(), report_of(site, site.demo)
    ride = [b["id"] for b in report["blocks"]]
    for name, values in sorters(report):
        button = pressed(page, name)
        assert button is not None, name
        for down, told in ((False, "ascending"), (True, "descending")):
            button.press("Enter")
            got = page.evaluate(SHOWN)
            key = [values[b] for b in got]
            there = [v for v in key if v is not None]
            assert there == sorted(there, reverse=down), name
            assert got == ordered(values, down=down), name
            assert button.evaluate("b => b.closest('th').getAttribute('aria-sort')") == told
        button.press("Enter")
        assert page.evaluate(SHOWN) == ride


def test_words_sort_by_the_alphabet_and_a_sorted_row_still_selects_its_block(open_trial, site):
    page, report = open_trial(), report_of(site, site.demo)
    pressed(page, "pedals verdict").click()
    verdicts = {d["block"]: d["verdict"] for d in report["deltas"] if d["label"] == "pedals"}
    got = [verdicts[b] for b in page.evaluate(SHOWN) if b in verdicts]
    assert got == sorted(got)
    held = next(b for b in report["blocks"] if b["kind"] == "steady")
    page.locator(f"tr[data-block='{held['id']}']").click()
    eventually(page, f"document.querySelector(\"tr[data-block='{held['id']}']\").getAttribute('aria-selected')", "true")
    eventually(page, f"location.search.includes('from={held['interior_start_s']}')")


def test_filters_by_kind_and_verdict_say_how_much_is_left(open_trial, site):
    page, report = open_trial(), report_of(site, site.demo)
    tools = page.locator("[data-tools='delta-by-block']")
    tools.get_by_label("Kind", exact=True).select_option("steady")
    held = [b["id"] for b in report["blocks"] if b["kind"] == "steady"]
    assert page.evaluate(SHOWN) == held
    tools.get_by_label("Verdict", exact=True).select_option("outside")
    outside = {d["block"] for d in report["deltas"] if d["verdict"] == "outside"}
    both = [b for b in held if b in outside]
    assert 0 < len(both) < len(held)
    assert page.evaluate(SHOWN) == both
    assert f"{len(both)} of {len(report['blocks'])} rows" in tools.inner_text()


def test_a_copied_csv_is_the_json_and_a_copied_markdown_is_what_is_shown(open_trial, site):
    page, report = open_trial(**COPY), report_of(site, site.demo)
    tools = page.locator("[data-tools='delta-by-block']")
    tools.get_by_role("button", name="Copy as CSV").click()
    eventually(page, "document.querySelector(\"[data-tools='delta-by-block'] [data-tool=CSV]\").textContent", "Copied")
    frame = pd.read_csv(io.StringIO(page.evaluate("navigator.clipboard.readText()")))
    assert list(frame["block"].str.split().str[0]) == [b["id"] for b in report["blocks"]]
    for label in ("spider", "pedals"):
        for name, key in (("delta, W", "delta_w"), ("delta, %", "delta_pct")):
            want = [v if v is not None else float("nan") for v in column(report, label, key).values()]
            assert frame[f"{label} {name}"].tolist() == pytest.approx(want, rel=1e-12, nan_ok=True)
        limits = list(column(report, label, "delta_pct_ci").values())
        for place, end in enumerate(("low", "high")):
            want = [ci[place] if ci else float("nan") for ci in limits]
            assert frame[f"{label} 95 % interval, % {end}"].tolist() == pytest.approx(want, rel=1e-12, nan_ok=True)

    tools.get_by_role("button", name="Copy as Markdown").click()
    eventually(page, "document.querySelector(\"[data-tools='delta-by-block'] [data-tool=Markdown]\").textContent", "Copied")
    top, rule, *lines = page.evaluate("navigator.clipboard.readText()").strip().split("\n")
    assert {part.strip() for part in rule.strip("| ").split("|")} == {":--", "--:"}
    cells_of = "r => [...r.cells].slice(4).map(c => c.innerText.trim())"
    shown = page.evaluate(f'[...document.querySelectorAll("{TABLE} tbody tr")].map({cells_of})')
    for line, cells in zip(lines, shown, strict=True):
        got = [part.strip() for part in line.strip("|").split(" | ")]
        assert len(got) == len(top.strip("|").split(" | "))
        assert got[4:] == [cell.lstrip("●▲◇").strip() for cell in cells]


def test_no_cell_that_somebody_named_becomes_a_formula(open_page, site):
    """Referee: OWASP's list of what starts a formula, over every cell that is no number."""
    stored = site.services.store.trial(site.demo.split("/")[-1])
    tree = stored.setup.to_dict()
    tree["device"][1]["label"] = '=HYPERLINK("x","y")'
    tree["plan"][0]["name"] = "@SUM(1), | pipe"
    new = site.services.store.create_trial(stored.recordings, setup_from_dict(tree))
    page = open_page(f"/trial/{new.trial_id}", viewport=DESK)
    chart_drawn(page)
    text = page.evaluate(f'countercheck.tables.csv(document.querySelector("{TABLE}"))')
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert any("HYPERLINK" in cell for cell in cells)
    for cell in cells:
        if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
            float(cell)
    table = page.evaluate(f'countercheck.tables.markdown(document.querySelector("{TABLE}"))')
    assert "@SUM(1), \\| pipe" in table


def test_watts_stand_where_percent_stood(open_trial, site):
    page, report = open_trial(), report_of(site, site.demo)
    page.evaluate("document.documentElement.dataset.unit = 'w'")
    held = next(d for d in report["deltas"] if d["label"] == "pedals" and d["delta_w_ci"] and d["verdict"] == "within")
    row = page.locator(f"tr[data-block='{held['block']}']").inner_text()
    low, high = (f"{edge:+.1f}".replace("-", "−") for edge in held["delta_w_ci"])
    assert f"{low} to {high}" in row
    top = page.evaluate(f"countercheck.tables.csv(document.querySelector(\"{TABLE}\")).split('\\r\\n')[0]")
    assert "pedals 95 % interval, W low" in top


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_no_row_shows_through_the_head_and_the_page_stays_put(open_trial, size):
    page = open_trial(viewport=size)
    page.locator("#summary").scroll_into_view_if_needed()
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    if size == PHONE:
        kinds = page.locator(".table-box:has(table[data-table='delta-by-kind'])")
        assert kinds.evaluate("e => e.scrollWidth - e.clientWidth") <= 0, "cards: nothing to scroll for"
        box = page.locator(".table-box:has(table[data-table='held-power-by-level'])")
        box.scroll_into_view_if_needed()
        box.evaluate("e => { e.scrollLeft = 200; }")
        name = box.locator("tbody th").first.bounding_box()
        assert name["x"] == pytest.approx(box.bounding_box()["x"], abs=2)
        return
    box = page.locator("#blocks .table-box")
    box.scroll_into_view_if_needed()
    for scrolled in (137, 260, 391):
        box.evaluate(f"e => {{ e.scrollTop = {scrolled}; }}")
        head = page.evaluate(
            f"""(() => {{ const h = document.querySelector("{TABLE} thead").getBoundingClientRect(), seen = new Set();
                for (let y = h.top + 1; y < h.bottom - 1; y += 2) for (const x of [h.left + 20, h.left + 300, h.right - 60])
                  seen.add(document.elementFromPoint(x, y).closest("thead, tbody").tagName);
                return [...seen]; }})()"""
        )
        assert head == ["THEAD"]


def test_on_a_phone_cards_are_sorted_by_a_list(open_trial, site):
    page, report = open_trial(viewport=PHONE), report_of(site, site.demo)
    page.locator("[data-tools='delta-by-block']").get_by_label("Sort", exact=True).select_option(label="pedals delta, % ↓")
    assert page.evaluate(SHOWN) == ordered(column(report, "pedals", "delta_pct"), down=True)
