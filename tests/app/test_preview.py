"""What a chat or a reader without script gets of a trial. Referee: Python's HTML parser on the served page."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser

import pytest
from asking import settled
from open_trials import BOATHOUSE

from app.comparing import read_setup
from app.links import trial_path
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings

NASTY = '"><script>alert(1)</script>{%scripts%}'


class Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.metas: dict[str, str] = {}
        self.tags: list[str] = []
        self.said = ""
        self.inside: list[str] = []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.tags.append(tag)
        self.inside.append(tag)
        if tag == "meta" and "content" in found:
            self.metas[found.get("property") or found.get("name") or ""] = found["content"]

    def handle_endtag(self, tag):
        while tag in self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data):
        if "noscript" in self.inside:
            self.said += data


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("preview")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    yield app
    app.server.config[CONFIG_KEY].close()


def served(app, *, hidden=False, **changes) -> tuple[Page, str, dict, str]:
    """The page, its text, the result and the trial's address."""
    services = app.server.config[CONFIG_KEY]
    setup = replace(read_setup(BOATHOUSE / "setup.toml"), **changes)
    read = services.jobs.engine.read
    files = [d.file for d in setup.devices]
    kept = [(services.store.put_recording(read((BOATHOUSE / f).read_bytes(), name=f)), f) for f in files]
    new = services.store.create_trial(kept, setup, blocks_first=hidden)
    report = settled(services.jobs, new.trial_id, within_s=60).open_trial.report
    text = app.server.test_client().get(trial_path(new.trial_id) + "?from=60&to=120").text
    page = Page()
    page.feed(text)
    return page, text, report, new.trial_id


def test_a_link_shows_title_and_headline_and_never_the_address(site):
    page, text, report, trial_id = served(site)
    assert page.metas["og:title"] == f"{report['title']} · countercheck"
    assert page.metas["og:description"] == page.metas["description"]
    assert page.metas["description"].startswith(report["headline"][:200])
    assert page.metas["robots"] == "noindex, nofollow"
    assert trial_id not in text
    for label in ("spider", "pedals"):
        assert label in page.said
    assert "95 % interval" in page.said
    assert "JavaScript" in page.said


def test_while_deltas_are_hidden_nothing_of_them_is_said(site):
    page, text, report, _ = served(site, hidden=True)
    assert "blocks are being settled" in page.metas["og:description"]
    assert report["headline"][:30] not in text
    assert "interval" not in page.said
    assert "spider" not in page.said


def test_a_title_stays_text(site):
    page, text, _, _ = served(site, title=NASTY)
    assert page.metas["og:title"] == f"{NASTY} · countercheck"
    assert NASTY not in text
    plain = Page()
    plain.feed(site.server.test_client().get("/").text)
    assert page.tags.count("script") == plain.tags.count("script")
