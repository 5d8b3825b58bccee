"""The first page: its example is the built-in trial's own, its list this browser's own. Referees: analysis, other browsers."""

from __future__ import annotations

from pathlib import Path

import pretend
import pytest

from analysis.pipeline import compare
from analysis.reading import read
from analysis.setup import setup_from_toml
from app import access
from app.views import example
from app.views.frozen import html_text

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"


def test_the_example_s_figures_are_those_of_the_built_in_trial():
    files = [read((BOATHOUSE / name).read_bytes(), name=name) for name in ("hub.fit", "spider.fit", "pedals.fit")]
    report = compare(files, setup_from_toml((BOATHOUSE / "setup.toml").read_text())).to_dict()
    middle = {b["id"]: (b["start_s"] + b["end_s"]) / 120 for b in report["blocks"] if b["kind"] == "steady"}
    for label, drawn in (("spider", example.SPIDER), ("pedals", example.PEDALS)):
        own = [d for d in report["deltas"] if d["label"] == label and d["block"] in middle]
        # written with one decimal
        assert [x for point in drawn for x in point] == pytest.approx(
            [x for d in own for x in (middle[d["block"]], d["delta_pct"])], abs=0.06
        )
        summary = next(s for s in report["summary"] if s["label"] == label and s["kind"] == "steady")
        assert summary["allowance_pct"] == pytest.approx(list(example.ALLOWANCE_PCT), abs=0.06)


def test_own_trials_are_listed_for_the_browser_that_holds_their_keys_only(app, services):
    pairs = [(pretend.kept(services.store, f"power 20{i}"), f"{i}.line") for i in range(2)]
    mine, other = (services.store.create_trial(pairs, pretend_setup(title)) for title in ("Kiln <b>", "Somebody else's"))
    with app.server.test_request_context("/"):
        name = access.cookie_name(mine.trial_id)
    cookie = f"{name}={mine.trial_id}.{mine.owner_key}"
    with app.server.test_request_context("/", headers={"Cookie": cookie}):
        page = first_page()
    assert mine.trial_id in page and "Kiln &lt;b&gt;" in page
    assert other.trial_id not in page and "Somebody else" not in page
    with app.server.test_request_context("/"):
        assert "Your trials" not in first_page()


def test_privacy_and_cautions_stand_on_the_first_page(app):
    with app.server.test_request_context("/"):
        page = first_page()
    assert "Positions, names" in page and 'href="#before-you-ride"' in page
    assert page.index("Maximal efforts") < page.index("This result")


def pretend_setup(title):
    return setup_from_toml(f'[trial]\ntitle = "{title}"')


def first_page() -> str:
    from app.pages import home  # registers a page, which dash allows only once there is an app

    layout = home.layout()
    parts = [child for child in layout.children if child is not None]
    return html_text([part for part in parts if part.to_plotly_json()["namespace"] == "dash_html_components"])
