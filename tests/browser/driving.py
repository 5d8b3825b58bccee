"""Starting the real server and a real Chromium, and waiting for pages: shared by the browser tests and the scrub bench."""

from __future__ import annotations

import json
import os
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote
from urllib.request import Request, urlopen

import pytest
from playwright import sync_api as playwright
from werkzeug.serving import make_server

from app.demo import demo_trial
from app.links import trial_path
from app.main import create_app
from app.services import CONFIG_KEY, Services
from app.settings import Settings

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
DESK, PHONE = {"width": 1440, "height": 1000}, {"width": 375, "height": 812}
BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"
RIDE_FILES = [BOATHOUSE / name for name in ("hub.fit", "spider.fit", "pedals.fit")]


@dataclass
class Site:
    """The server under test; `demo` is the path of the built-in trial."""

    address: str
    services: Services
    demo: str

    def upload(self, data: bytes, name: str) -> dict:
        """What the page's script does with one file; the server's answer."""
        headers = {"X-Requested-With": "countercheck", "X-File-Name": quote(name), "Origin": self.address}
        headers["Content-Type"] = "application/octet-stream"
        with urlopen(Request(self.address + "/upload", data=data, headers=headers)) as answer:
            return json.load(answer)


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


@contextmanager
def running_chromium() -> Iterator[playwright.Browser]:
    """The system's Chromium, or playwright's own; without one the test is skipped, in CI it fails."""
    path = os.environ.get("COUNTERCHECK_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    with playwright.sync_playwright() as driver:
        path = path or driver.chromium.executable_path
        if not Path(path).exists():
            sentence = "No Chromium found; install one or set COUNTERCHECK_CHROMIUM to its path."
            (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(sentence)
        browser = driver.chromium.launch(executable_path=path, args=["--disable-gpu", "--no-sandbox"])
        yield browser
        browser.close()


@contextmanager
def running_site(folder: Path) -> Iterator[Site]:
    """The real server on a free port, its data in `folder`."""
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    services = app.server.config[CONFIG_KEY]
    server = make_server("127.0.0.1", 0, app.server, threaded=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    demo = trial_path(demo_trial(services))
    yield Site(address=f"http://127.0.0.1:{server.server_port}", services=services, demo=demo)
    server.shutdown()
    services.jobs.close()


def chart_drawn(page) -> None:
    """Wait until headline and chart stand, and what follows them."""
    page.wait_for_selector("h1#headline", timeout=60_000)
    page.wait_for_selector("#overlay .js-plotly-plot .scatterlayer .trace", state="attached", timeout=20_000)
    page.wait_for_selector("[data-later]", state="detached", timeout=20_000)


def eventually(page, expression: str, expected=True, *, timeout_ms: int = 10_000, what: str | None = None):
    """Poll an expression until it gives `expected`; under our policy the page may not evaluate strings by itself.

    `what` is said in its place when it does not.
    """
    for _ in range(timeout_ms // 50):
        value = page.evaluate(expression)
        if value == expected:
            return value
        page.wait_for_timeout(50)
    raise AssertionError(f"{what or expression} stayed {value!r}, expected {expected!r}")
