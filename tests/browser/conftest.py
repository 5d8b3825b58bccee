"""A real Chromium against the real server. Without a Chromium the tests skip with a sentence, in CI they fail."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install -e .[test]")

from driving import DESK, Watched, chart_drawn, running_chromium, running_site


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium():
    with running_chromium() as browser:
        yield browser


@pytest.fixture(scope="session")
def site(chromium, tmp_path_factory):
    with running_site(tmp_path_factory.mktemp("site")) as running:
        yield running


@pytest.fixture
def watched() -> Watched:
    return Watched()


@pytest.fixture
def open_page(chromium, site, watched):
    """`open_page(path, **context options)` gives a page in a context of its own: nobody's cookies."""
    contexts, strangers = [], []

    def open_one(path: str, **options):
        context = chromium.new_context(**{"viewport": DESK, **options})
        contexts.append(context)

        def guard(route):
            if route.request.url.startswith((site.address, "data:", "blob:")):
                return route.continue_()
            strangers.append(route.request.url)
            return route.abort()

        context.route("**/*", guard)
        page = context.new_page()
        watched.follow(page)
        page.goto(site.address + path)
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert watched.complaints == []
    assert strangers == []


@pytest.fixture
def open_trial(open_page, site):
    """`open_trial(query, **context options)`: the built-in trial with its chart drawn."""

    def open_one(query: str = "", **options):
        page = open_page(site.demo + query, **options)
        chart_drawn(page)
        return page

    return open_one
