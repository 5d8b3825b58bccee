"""Before the server has drawn a new stretch, what is drawn already is stretched to it. Referees: the drawing, pixel by time."""

from __future__ import annotations

import json

import pytest
from driving import eventually

GD = "document.querySelector('#overlay .js-plotly-plot')"
VIEW = f"JSON.stringify({GD}.layout.meta.view)"
# where the chart's own marks stand on the screen, as seconds of the stretch that the layer shows
GRID = f"""(() => {{
  const box = document.getElementById('scrub-layer').getBoundingClientRect(), seen = countercheck.overlay.view();
  return [...{GD}.querySelectorAll('.gridlayer .x')].slice(0, 1).flatMap(g => [...g.children])
    .filter(p => getComputedStyle(p).opacity !== '0').map(p => {{ const at = p.getBoundingClientRect();
      return seen[0] + ((at.left + at.right) / 2 - box.left) / box.width * (seen[1] - seen[0]); }}); }})()"""
EDGES = f"""(() => {{
  const box = document.getElementById('scrub-layer').getBoundingClientRect(), seen = countercheck.overlay.view();
  return [...{GD}.querySelectorAll('.barlayer .point path')].map(p => p.getBoundingClientRect().left)
    .map(x => seen[0] + (x - box.left) / box.width * (seen[1] - seen[0])); }})()"""

# how far a letter stands from the middle of its block, sideways or in height, at most
LETTERS = f"""Math.max(...[...{GD}.querySelectorAll('.barlayer .point')].filter(p => p.querySelector('text')).map(p => {{
  const [block, letter] = ['path', 'text'].map(one => p.querySelector(one).getBoundingClientRect());
  return Math.max(Math.abs(block.left + block.right - letter.left - letter.right) / 2,
                  Math.abs(block.top + block.bottom - letter.top - letter.bottom) / 2); }}))"""


@pytest.fixture
def held(open_trial):
    """A page whose server does not answer what is asked for next, until `let_go` is called."""

    def open_one(query: str):
        page = open_trial(query)
        eventually(page, "document.querySelector('#chart-box').hasAttribute('data-drawing')", False)
        waiting, holding = [], [True]
        page.route("**/_dash-update-component*", lambda route: waiting.append(route) if holding else route.continue_())

        def let_go():
            holding.clear()
            for route in waiting:
                route.continue_()

        return page, let_go

    return open_one


def zoomed_by(page, how: str) -> None:
    if how == "button":
        page.get_by_role("button", name="Zoom in").click()
    elif how == "key":
        page.locator("#chart-box").focus()
        page.keyboard.press("+")
    else:
        box = page.locator("#scrub-layer").bounding_box()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 100)
        page.keyboard.down("Control")
        page.mouse.wheel(0, -200)
        page.keyboard.up("Control")


@pytest.mark.parametrize("how", ["button", "key", "wheel"])
def test_lines_blocks_and_times_follow_a_zoom_before_the_server_answers(held, site, how):
    page, let_go = held("?view=1000,2200")
    starts = [b["start_s"] for b in site.services.jobs.ask(site.demo.split("/")[-1]).open_trial.report["blocks"]]
    zoomed_by(page, how)
    eventually(page, "JSON.stringify(countercheck.overlay.view()) !== '[1000,2200]'")
    assert page.evaluate(VIEW) == "[1000,2200]", "still the old drawing"
    low, high = json.loads(page.evaluate("JSON.stringify(countercheck.overlay.view())"))
    per_px = (high - low) / page.evaluate("document.getElementById('scrub-layer').clientWidth")
    edges = [t for t in page.evaluate(EDGES) if low < t < high]
    assert edges and all(min(abs(t - s) for s in starts) < 2 * per_px for t in edges)
    ticks = page.evaluate(GRID)
    every = page.evaluate(f"{GD}.layout.xaxis.tickvals[1] - {GD}.layout.xaxis.tickvals[0]")
    assert ticks and all(abs(t / every - round(t / every)) * every < 2 * per_px for t in ticks)
    # the lines are stretched just as the bars whose edges were measured
    moved = f"[...{GD}.querySelectorAll('.scatterlayer, .barlayer')].map(p => getComputedStyle(p).transform)"
    assert len(set(page.evaluate(moved))) == 1
    assert page.evaluate(LETTERS) < 1.5
    let_go()
    eventually(page, VIEW, json.dumps([low, high], separators=(",", ":")))
    eventually(page, "document.querySelector('#chart-box').hasAttribute('data-drawing')", False)
    assert page.evaluate(LETTERS) < 1.5


def test_letters_on_blocks_keep_their_shape_while_stretched(held):
    page, let_go = held("?view=1000,2200")
    size = f"(b => b.width / b.height)({GD}.querySelector('.barlayer text').getBoundingClientRect())"
    before = page.evaluate(size)
    zoomed_by(page, "button")
    stretched = f"getComputedStyle({GD}.querySelector('.barlayer')).transform !== 'none'"
    eventually(page, f"{stretched} && Math.abs({size} - {before}) < 0.05")
    let_go()


def test_an_address_beyond_the_trial_is_shown_whole_and_never_waits(open_trial):
    page = open_trial("?view=-500,99999999&from=-20&to=88888888")
    eventually(page, f"{GD}.layout.meta.view[0]", 0)
    page.wait_for_timeout(500)
    assert not page.evaluate("document.querySelector('#chart-box').hasAttribute('data-drawing')")
    assert page.evaluate("countercheck.screen.now().view") is None
    page.get_by_role("button", name="Zoom in").click()
    eventually(page, f"{GD}.layout.meta.view[0] > 900")


def test_a_stretch_that_is_still_moving_is_not_drawn_at_every_step(open_trial):
    page = open_trial("?view=1000,2200")
    asked = []
    page.on("request", lambda request: asked.append(1) if '"trial-view.data"' in (request.post_data or "") else None)
    box = page.locator("#scrub-layer").bounding_box()
    page.mouse.move(box["x"] + 0.7 * box["width"], box["y"] + 90)
    page.keyboard.down("Shift")
    page.mouse.down()
    for i in range(24):
        page.mouse.move(box["x"] + (0.7 - i / 80) * box["width"], box["y"] + 90)
        page.wait_for_timeout(10)
    page.mouse.up()
    page.keyboard.up("Shift")
    eventually(page, f"Math.abs({GD}.layout.meta.view[0] - 1345) < 5")
    eventually(page, "document.querySelector('#chart-box').hasAttribute('data-drawing')", False)
    assert 1 <= len(asked) <= 5


def test_a_step_of_a_drag_touches_nothing_of_the_tables(open_trial):
    page = open_trial()
    page.wait_for_selector("tr[data-block]")
    page.wait_for_timeout(300)
    page.evaluate("""() => { window.touched = 0;
      new MutationObserver(all => { window.touched += all.length; })
        .observe(document.getElementById('trial-rest'), { attributes: true, childList: true, subtree: true }); }""")
    box = page.locator("#scrub-layer").bounding_box()
    page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + 90)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 90, steps=25)
    eventually(page, "document.querySelector('#interval-card .overline').textContent", "Interval")
    page.wait_for_timeout(300)
    assert page.evaluate("window.touched") == 0  # with eight devices over ten hours each touch costs the drag its fluency
    page.mouse.up()
