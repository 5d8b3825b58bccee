"""A real Chromium against the real server. Without a Chromium the tests skip with a sentence, in CI they fail."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from werkzeug.serving import make_server

from app.demo import demo_trial
from app.links import trial_path
from app.main import create_app
from app.services import CONFIG_KEY, Services
from app.settings import Settings

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install -e .[test]")

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
DESK, PHONE = {"width": 1440, "height": 1000}, {"width": 375, "height": 812}
BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"
RIDE_FILES = [BOATHOUSE / name for name in ("hub.fit", "spider.fit", "pedals.fit")]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@dataclass
class Site:
    """The server under test; `demo` is the path of the built-in trial, computed already."""

    address: str
    services: Services
    demo: str


@dataclass
class Watched:
    """What a page must not do, as it happens."""

    complaints: list[str] = field(default_factory=list)
    expected: tuple[str, ...] = ()

    def follow(self, page) -> None:
        page.on("console", lambda m: self._note(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: self._note(str(e)))

    def _note(self, text: str) -> None:
        if not any(part in text for part in self.expected):
            self.complaints.append(text)


@pytest.fixture(scope="session")
def chromium():
    """The browser; our own requests only."""
    path = os.environ.get("COUNTERCHECK_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    with playwright.sync_playwright() as driver:
        path = path or driver.chromium.executable_path
        if not Path(path).exists():
            sentence = "No Chromium found; install one or set COUNTERCHECK_CHROMIUM to its path."
            (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(sentence)
        browser = driver.chromium.launch(executable_path=path, args=["--disable-gpu", "--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def site(chromium, tmp_path_factory) -> Iterator[Site]:
    """The real server on a free port."""
    folder = tmp_path_factory.mktemp("site")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    services = app.server.config[CONFIG_KEY]
    server = make_server("127.0.0.1", 0, app.server, threaded=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with app.server.app_context():
        trial_id = demo_trial(services)
    yield Site(address=f"http://127.0.0.1:{server.server_port}", services=services, demo=trial_path(trial_id))
    server.shutdown()
    services.jobs.close()


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


def chart_drawn(page) -> None:
    """Wait until headline and chart stand."""
    page.wait_for_selector("h1#headline", timeout=60_000)
    page.wait_for_selector("#overlay .js-plotly-plot .scatterlayer .trace", state="attached", timeout=20_000)


def eventually(page, expression: str, expected=True, *, timeout_ms: int = 10_000):
    """Poll an expression until it gives `expected`; under our policy the page may not evaluate strings by itself."""
    for _ in range(timeout_ms // 50):
        value = page.evaluate(expression)
        if value == expected:
            return value
        page.wait_for_timeout(50)
    raise AssertionError(f"{expression} stayed {value!r}, expected {expected!r}")
