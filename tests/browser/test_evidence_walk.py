"""Every cell of the delta table against the result's JSON, to the printed digit: the built-in trial and a real ride."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from driving import chart_drawn

from analysis.archive import OpenTrial
from analysis.reading import read
from analysis.setup import setup_from_dict
from app.services import create_trial

RIDES = Path(__file__).resolve().parents[3] / "shared" / "rides"
EMPTY = "–"


def difference(value: float | None) -> str:
    """A signed figure as a person would print it, made here without the page's own wording."""
    if value is None:
        return EMPTY
    text = f"{value:+.1f}"
    return "0.0" if float(text) == 0 else text.replace("-", "−")


def clock(time_s: float) -> str:
    whole = round(abs(time_s))
    sign = "−" if time_s < 0 and whole else ""
    hours = f"{whole // 3600}:{whole // 60 % 60:02d}" if whole >= 3600 else f"{whole // 60}"
    return f"{sign}{hours}:{whole % 60:02d}"


def wanted(report: dict, block: dict, label: str, unit: str) -> list[str]:
    entry = next((d for d in report["deltas"] if (d["block"], d["label"]) == (block["id"], label)), None)
    if entry is None:
        return [EMPTY] * 4
    limits = entry["delta_w_ci" if unit == "w" else "delta_pct_ci"]
    between = " to ".join(map(difference, limits)) if limits else EMPTY
    if entry["reason"].startswith("The stretch is too short"):
        between = f"{EMPTY} too short"
    return [difference(entry["delta_w"]), difference(entry["delta_pct"]), between, entry["verdict"]]


def walk(page, found: OpenTrial) -> int:
    """Compare every row in both units; gives the number of rows."""
    report = found.report
    devices = [label for label in found.trial.labels if label != report["reference"]]
    for unit in ("pct", "w"):
        page.evaluate("unit => { document.documentElement.dataset.unit = unit; }", unit)
        told = "r => [r.dataset.block, [...r.cells].map(c => c.innerText.trim())]"
        rows = page.evaluate(f"[...document.querySelectorAll('tr[data-block]')].map({told})")
        assert [name for name, _ in rows] == [b["id"] for b in report["blocks"]]
        for (_, cells), block in zip(rows, report["blocks"], strict=True):
            assert (block["name"] or block["kind"]) in cells[0]
            assert re.sub(r"\s+to\s+", "", cells[1]) == f"{clock(block['start_s'])}–{clock(block['end_s'])}"
            assert cells[2] == clock(block["end_s"] - block["start_s"])
            means = [d["reference_mean_w"] for d in report["deltas"] if d["block"] == block["id"]]
            reference_w = next((w for w in means if w is not None), None)
            assert cells[3] == (EMPTY if reference_w is None else f"{reference_w:.1f}")
            shown = [cell.lstrip("●▲◇").strip() for cell in cells[4:]]
            assert shown == [figure for label in devices for figure in wanted(report, block, label, unit)], block["id"]
    return len(report["blocks"])


def test_the_built_in_trial_to_the_printed_digit(open_trial, site):
    page = open_trial()
    page.wait_for_selector("tr[data-block]")
    assert walk(page, site.services.jobs.ask(site.demo.split("/")[-1]).open_trial) > 40


@pytest.mark.skipif(not RIDES.is_dir(), reason="the folder with real recordings is not beside the project")
def test_a_real_ride_to_the_printed_digit(open_page, site):
    """A real ride beside itself with a factor, as a CSV: negative figures, gaps, stretches too short to judge."""
    data = (RIDES / "ride-02.fit").read_bytes()
    own = read(data, name="ride-02.fit").samples
    power = np.random.default_rng(5).normal(0.97, 0.02, len(own)) * own["power_w"].to_numpy(float)
    lines = [f"{t:.0f},{'' if np.isnan(p) else round(p)}" for t, p in zip(own["time_s"], power, strict=True)]
    files = [site.upload(data, "ride.fit"), site.upload(("timestamp,power\n" + "\n".join(lines)).encode(), "copy.csv")]
    new = create_trial(site.services, files, setup_from_dict({"trial": {"reference": "ride"}} | _devices()))
    page = open_page(f"/trial/{new.trial_id}")
    chart_drawn(page)
    page.wait_for_selector("tr[data-block]")
    found = site.services.jobs.ask(new.trial_id).open_trial
    assert walk(page, found) > 10
    assert any((d["delta_w"] or 0) < 0 for d in found.report["deltas"])


def _devices() -> dict:
    said = (("ride.fit", "ride", "pedal"), ("copy.csv", "copy", "hub"))
    return {"device": [{"file": file, "label": label, "point": point} for file, label, point in said]}
