"""A ride laid out on its page, frozen, opened by a reader. Referees: the analysis, fitdecode, the set-up reader, the PDF."""

from __future__ import annotations

import io
import re
from pathlib import Path

import fitdecode
import pytest
from driving import PHONE, RIDE_FILES, eventually

from analysis.default_design import core_design
from analysis.designing import fingerprint, plan_steps, total_s
from analysis.setup import setup_from_toml
from app.planning.drafts import read_draft
from app.wording import clock_text

TOTAL = "(document.querySelector('.design-total') || {}).textContent"
STEPS = "document.querySelectorAll('.design-steps tbody tr').length"
FIRST_SMALLEST = "document.querySelector('.design-forecast tbody tr td:last-child').textContent"
DRAFT = "JSON.parse(localStorage.getItem('countercheck.plan'))"
NO_SCROLL = "document.documentElement.scrollWidth <= window.innerWidth"


@pytest.fixture
def designer(open_page):
    """`designer(**context options)`: the editor with the core plan."""

    def open_one(**options):
        page = open_page("/plan", **options)
        page.get_by_role("button", name="Its core").click()
        eventually(page, TOTAL, clock_text(total_s(core_design(250.0))))
        return page

    return open_one


def part(page, name: str):
    return page.locator("[data-part-row]", has=page.locator("[data-part-name]", has_text=re.compile(f"^{name}$")))


def test_total_steps_and_forecast_follow_what_is_typed(designer):
    page = designer()
    page.evaluate("window.untouched = true")
    steps, smallest = page.evaluate(STEPS), page.evaluate(FIRST_SMALLEST)
    levels = part(page, "levels")
    levels.locator("summary").click()
    levels.get_by_label("Times").fill("2")
    eventually(page, TOTAL, clock_text(total_s(core_design(250.0)) + 20 * 60))
    assert page.evaluate(STEPS) == steps + 10
    assert page.evaluate(FIRST_SMALLEST) != smallest
    assert "10 steps, 2 times · 40:00" in levels.locator("summary").inner_text()
    first = levels.locator("[data-step-row]").first
    first.get_by_label("Length").fill("4:00")
    eventually(page, TOTAL, clock_text(total_s(core_design(250.0)) + 22 * 60))
    page.get_by_label("One-hour power").fill("300")
    eventually(page, "document.querySelector('.design-steps').textContent.includes('300')")
    page.get_by_label("Claim to settle").fill("1.5")
    eventually(page, "document.querySelector('.design-settles h3').textContent.includes('±1.5')")
    assert page.evaluate("window.untouched")
    page.reload()
    eventually(page, TOTAL, clock_text(total_s(core_design(250.0)) + 22 * 60))  # the draft is this browser's


def test_rows_come_go_and_move_by_keyboard_and_are_brought_back(designer):
    page = designer()
    cadences = part(page, "cadences")
    cadences.locator("summary").press("Enter")
    names = f"{DRAFT}.parts.find(p => p.name === 'cadences').steps.map(s => s.name).join()"
    first = cadences.locator("[data-step-row]").first.get_by_label("Step", exact=True)
    first.focus()
    page.keyboard.press("Alt+ArrowDown")
    eventually(page, names, "75 rpm,60 rpm,90 rpm,105 rpm")
    assert page.evaluate("document.activeElement.value") == "60 rpm"
    cadences.get_by_role("button", name="Move up this step").nth(3).press("Enter")
    eventually(page, names, "75 rpm,60 rpm,105 rpm,90 rpm")
    cadences.get_by_role("button", name="Duplicate this step").nth(0).press("Enter")
    eventually(page, names, "75 rpm,75 rpm,60 rpm,105 rpm,90 rpm")
    cadences.get_by_role("button", name="Remove this step").nth(0).press("Enter")
    cadences.get_by_role("button", name="Remove this step").nth(0).press("Enter")
    eventually(page, names, "60 rpm,105 rpm,90 rpm")
    page.get_by_role("button", name="Undo").press("Enter")
    eventually(page, names, "75 rpm,60 rpm,105 rpm,90 rpm")
    cadences.locator("summary").press("Enter")
    cadences.get_by_role("button", name="Add a step").press("Enter")
    eventually(page, "document.querySelectorAll('[data-problem]:not([hidden])').length", 1)
    assert "Give the step a name" in cadences.inner_text()
    page.keyboard.type("120 rpm")
    eventually(page, "document.querySelectorAll('[data-problem]:not([hidden])').length", 0)
    eventually(page, names, "75 rpm,60 rpm,105 rpm,90 rpm,120 rpm")


def test_a_slip_is_told_at_its_field_and_the_rest_stays(designer):
    page = designer()
    total = page.evaluate(TOTAL)
    levels = part(page, "levels")
    levels.locator("summary").click()
    length = levels.get_by_label("Length").first
    length.fill("three")
    eventually(page, "(document.querySelector('[aria-invalid]') || {}).value", "three")
    told = page.evaluate("document.querySelector('[aria-invalid]').getAttribute('aria-describedby')")
    assert "Give minutes and seconds as 3:00" in page.inner_text(f"#{told}")
    assert page.evaluate(TOTAL) == total
    page.get_by_role("button", name="Freeze with date and hash").click()
    page.wait_for_selector("#plan-said [role=alert]")
    length.fill("3:00")
    eventually(page, "document.querySelector('[aria-invalid]')", None)


def test_frozen_with_date_and_hash_it_is_read_only_for_everybody_else(designer, open_page, site):
    page = designer()
    page.get_by_label("Title").fill("Kiln <b>road</b>")
    eventually(page, f"{DRAFT}.title", "Kiln <b>road</b>")
    design = read_draft(page.evaluate(DRAFT)).design
    page.get_by_role("button", name="Freeze with date and hash").click()
    page.wait_for_selector(".design-state code")
    path = page.evaluate("location.pathname")
    assert re.fullmatch(r"/plan/[\w-]{32}", path)
    assert page.inner_text(".design-state code") == fingerprint(design)
    assert "/own-plan/" in page.inner_text(".design-page .notice.caution")
    assert page.evaluate("localStorage.getItem('countercheck.plan')") is None
    reader = open_page(path)
    reader.wait_for_selector(".design-state code")
    assert reader.inner_text(".design-state code") == fingerprint(design)
    assert reader.inner_text("h1") == "Kiln <b>road</b>"
    assert reader.locator("form, .design-page input, .design-page button:has-text('Delete')").count() == 0
    assert "/own-plan/" not in reader.content()
    with reader.expect_download() as waiting:
        reader.get_by_text("Workout for head units (FIT)").click()
    with fitdecode.FitReader(io.BytesIO(Path(waiting.value.path()).read_bytes()), check_crc=fitdecode.CrcCheck.RAISE) as fit:
        messages = [m for m in fit if isinstance(m, fitdecode.FitDataMessage) and m.name == "workout_step"]
    assert sum(m.get_value("duration_time") for m in messages) == total_s(design)
    reader.get_by_role("link", name="Make a changed copy").click()
    eventually(reader, "(document.querySelector('[data-field=title]') || {}).value", "Kiln <b>road</b>")
    reader.get_by_label("Title").fill("Another")
    eventually(reader, f"({DRAFT} || {{}}).title", "Another")
    assert site.services.store.plans.of(path.split("/")[-1]).design == design


def test_kept_without_freezing_its_owner_goes_on_and_readers_see_what_was_saved(designer, open_page):
    page = designer()
    page.get_by_role("button", name="Keep without freezing").click()
    page.wait_for_selector("text=Owner link:")
    path = page.evaluate("location.pathname")
    page.get_by_label("Title").fill("Second thoughts")
    page.get_by_label("One-hour power").fill("280")
    page.get_by_role("button", name="Save the changes").click()
    eventually(page, "document.querySelector('#plan-said').textContent.includes('The changes are saved.')")
    reader = open_page(path)
    assert reader.inner_text("h1") == "Second thoughts"
    assert "its owner may still change it" in reader.inner_text(".design-state")
    assert reader.locator("form").count() == 0
    page.goto(page.url)
    eventually(page, "(document.querySelector('[data-field=hour]') || {}).value", "280")
    page.get_by_role("button", name="Freeze with date and hash").click()
    page.wait_for_selector(".design-state code")
    page.get_by_role("button", name="Delete this plan").click()
    page.get_by_role("button", name="Delete it for good").click()
    page.wait_for_url("**/plan")


def test_a_draft_is_taken_along_and_a_kept_plan_fills_the_sheet_of_a_new_trial(designer):
    page = designer()
    design = read_draft(page.evaluate(DRAFT)).design
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Plan for setup.toml").click()
    assert setup_from_toml(Path(waiting.value.path()).read_text(encoding="utf-8")).plan == plan_steps(design)
    page.get_by_role("button", name="Freeze with date and hash").click()
    page.get_by_role("link", name="Use this plan for a new trial").click()
    page.wait_for_selector("text=its steps will stand in the sheet")
    page.wait_for_selector("#file-slot input[type=file]", state="attached")
    page.locator("#file-slot input[type=file]").first.set_input_files(RIDE_FILES[:2])
    page.wait_for_selector("form[data-sheet=new] [data-plan-rows] [data-plan-row]", state="attached", timeout=60_000)
    rows = "document.querySelectorAll('form[data-sheet=new] [data-plan-rows] [data-plan-row]').length"
    assert page.evaluate(rows) == len(plan_steps(design))


def test_what_is_assumed_says_so_until_it_is_chosen_and_a_reload_keeps_the_choice(designer):
    page = designer()
    tags = "Array.from(document.querySelectorAll('.assumed:not([hidden])')).length"
    yes = "(document.querySelector('.design-answer') || {textContent: ''}).textContent.startsWith('Yes for the days of one ride')"
    assert page.evaluate(tags) == 6
    eventually(page, "document.querySelector('.design-settles').textContent.includes('assumed until you choose')")
    page.get_by_label("Reference's point").select_option("spider")
    assert page.evaluate(tags) == 5
    eventually(page, yes)
    page.reload()
    eventually(page, yes)
    assert page.get_by_label("Reference's point").input_value() == "spider"
    page.get_by_role("button", name="These are my devices").click()
    assert page.evaluate(tags) == 0
    eventually(page, "document.querySelector('.design-settles').textContent.includes('ssumed')", False)


def test_a_draft_fills_the_sheet_of_a_new_trial_without_being_kept(designer, site):
    page = designer()
    page.get_by_label("Title").fill("Late change")
    page.get_by_role("link", name="Use the draft for a new trial").click()
    page.wait_for_selector("text=The ride plan Late change")
    page.wait_for_selector("#file-slot input[type=file]", state="attached")
    page.locator("#file-slot input[type=file]").first.set_input_files(RIDE_FILES[:2])
    page.wait_for_selector("form[data-sheet=new] [data-plan-rows] [data-plan-row]", state="attached", timeout=60_000)
    rows = "document.querySelectorAll('form[data-sheet=new] [data-plan-rows] [data-plan-row]').length"
    assert page.evaluate(rows) == len(plan_steps(core_design(250.0)))


@pytest.mark.parametrize(("paper", "points"), [("A5", (420, 595)), ("A4", (595, 842))])
def test_the_card_is_one_page_and_holds_every_line(designer, paper, points):
    page = designer()
    page.evaluate("window.print = () => { window.printed = document.documentElement.dataset.print; }")
    page.get_by_role("button", name=f"Print the card, {paper}").click()
    assert page.evaluate("window.printed") == f"card-{paper.lower()}"
    data = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 1
    box = [float(x) for x in re.search(rb"/MediaBox\s*\[([\d. ]+)\]", data)[1].split()]
    assert box[2:] == pytest.approx(points, abs=1)
    page.emulate_media(media="print")
    page.evaluate(f"document.documentElement.dataset.print = 'card-{paper.lower()}'")  # printing has ended it
    inside = """() => { const card = document.querySelector('.ride-card'), all = card.getBoundingClientRect();
      return Array.from(card.querySelectorAll('td')).every(td => { const box = td.getBoundingClientRect();
        return box.height > 0 && box.right <= all.right + 1; }) && document.querySelectorAll('.ride-card tbody tr').length; }"""
    assert page.evaluate(inside) == 31
    sizes = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.card-target:not(.card-word)')).fontSize)")
    assert sizes * 0.75 >= 9  # points, on the smaller paper too


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_nothing_scrolls_sideways(designer, scheme):
    page = designer(viewport=PHONE, color_scheme=scheme)
    part(page, "levels").locator("summary").click()
    assert page.evaluate(NO_SCROLL)
    page.get_by_role("button", name="Freeze with date and hash").click()
    page.wait_for_selector(".design-state code")
    assert page.evaluate(NO_SCROLL)
