"""Reports in one file, made for the tests and opened from the disk with the network off."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

from driving import DESK

from analysis.archive import OpenTrial
from app.offline import offline_report


@contextmanager
def alone(chromium, folder: Path, found: OpenTrial, *, notes=(), query: str = "", **options):
    """The report's page, opened from `folder` without a network; complaints and requests end the test.

    `query` is what follows the file's name in the address.
    """
    file = folder / "report.html"
    file.write_text(offline_report(found, notes=notes), encoding="utf-8", newline="")
    context = chromium.new_context(**{"viewport": DESK, **options})
    context.set_offline(True)
    page, complaints, asked = context.new_page(), [], []
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.on("request", lambda r: asked.append(r.url))
    page.goto(file.as_uri() + query)
    page.wait_for_selector("#overlay .scatterlayer .trace", state="attached")
    yield page
    context.close()
    assert complaints == []
    outside = {url.split("?")[0].split("#")[0] for url in asked if not url.startswith(("data:", "blob:"))}
    assert outside == {file.as_uri()}
