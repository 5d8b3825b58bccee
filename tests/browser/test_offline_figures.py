"""The interval card of a report without a server says what the server's card says, to the printed digit.

Referee: the server's own card, from `analysis.judging` in Python; the report's is made in the browser from the samples.
"""

from __future__ import annotations

import html
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from offline_pages import alone
from open_trials import boathouse, opened

from analysis import pipeline, reading
from analysis.deltas import student_t
from analysis.judging import judge_interval
from analysis.setup import DeviceSetup, Setup
from analysis.within import within
from app.views.block_marks import block_lines, stretch_of
from app.views.frozen import html_text
from app.views.interval import interval_card

RIDES = Path(__file__).resolve().parents[2].parent / "shared" / "rides"
RANDOM = 120


def real_ride():
    """A real ride against a copy with another gain, late and sampled half a second off."""
    if not RIDES.is_dir():
        pytest.skip("the folder with real recordings is not beside the project")
    own = replace(reading.read((RIDES / "ride-03-indoor.fit").read_bytes(), name="own.fit"), facts={})
    frame = own.samples.copy()
    rng = np.random.default_rng(4)
    power = frame["power_w"].to_numpy(float) * 1.04 * (1 + 0.01 * rng.standard_normal(len(frame)))
    power[300:340] = np.nan
    frame["power_w"] = np.clip(np.round(power), 0, None)
    frame["time_s"] = frame["time_s"].to_numpy() + 3.4
    copy = replace(own, name="copy.fit", sha256="1" * 64, samples=frame)
    devices = (
        DeviceSetup(file="own.fit", label="own <b>", point="hub", claim_pct=1.0),
        DeviceSetup(file="copy.fit", label="copy's", point="pedal", claim_pct=1.0),
    )
    return opened(pipeline.compare([own, copy], Setup(reference="own <b>", devices=devices, loss_pct=(1.0, 2.0))))


def holes():
    """Four recordings of one ride: whole, with long holes, of its first and last quarter, every other second without cadence."""
    rng, n = np.random.default_rng(8), 3600
    ride = 180 + 60 * np.sin(np.arange(n) / 300) + np.repeat(rng.normal(0, 25, n // 60), 60)
    keep = (lambda t: True, lambda t: t // 400 % 3 != 1 and t > 500, lambda t: t < 900 or t > 2700, lambda t: t % 2 == 0)
    recordings = []
    for i, kept in enumerate(keep):
        power, cadence = np.clip(ride * (1 + 0.02 * i) + rng.normal(0, 4, n), 0, None), 85 + rng.normal(0, 2, n)
        rows = (f"{1_768_673_100 + t},{power[t]:.0f},{cadence[t]:.0f}" for t in range(n) if kept(t))
        lines = ["time,power,cadence", *rows] if i < 3 else ["time,power", *(row.rsplit(",", 1)[0] for row in rows)]
        recordings.append(reading.read("\n".join(lines).encode(), name=f"device {i}.csv"))
    return opened(pipeline.compare(recordings, Setup()))


def intervals_of(found) -> list[tuple[float, float]]:
    """Every block as it is selected, and random stretches from seconds to hours, whole and not."""
    trial, rng = found.trial, np.random.default_rng(11)
    spans = [tuple(map(float, stretch_of(b))) for b in found.report["blocks"]]
    while len(spans) < len(found.report["blocks"]) + RANDOM:
        length = float(np.exp(rng.uniform(np.log(2), np.log(trial.end_s - trial.start_s))))
        start = rng.uniform(trial.start_s, trial.end_s - length)
        span = (start, start + length) if len(spans) % 4 == 0 else (float(round(start)), float(round(start + length)))
        if trial.start_s <= span[0] < span[1] - 1 and span[1] <= trial.end_s:
            spans.append(span)
    return spans


def said_by_server(found, span) -> str:
    blocks = found.report["blocks"]
    judged = [vars(one) for one in judge_interval(found.trial, *span, edges_s=[b["start_s"] for b in blocks])]
    more = [within(found.trial, label, *span) for label in found.trial.labels]
    response = {entry["label"]: entry for entry in found.report["response"]}
    return html_text(interval_card(judged, found.trial, span, about=block_lines(blocks, span), more=more, response=response))


def words(card: str) -> list[str]:
    return [html.unescape(text) for text in re.findall(r">([^<]+)", card)]


@pytest.mark.parametrize("make", [boathouse, real_ride, holes], ids=["built-in", "real", "holes"])
def test_every_block_and_any_interval_read_alike(chromium, tmp_path, make):
    found = make()
    spans = intervals_of(found)
    with alone(chromium, tmp_path, found) as page:
        cards = page.evaluate("(spans) => spans.map((span) => countercheck.alone.card(span))", [list(s) for s in spans])
    wrong = [(span, words(card), words(said_by_server(found, span))) for span, card in zip(spans, cards, strict=True)
             if words(card) != words(said_by_server(found, span))]  # fmt: skip
    assert not wrong, (len(wrong), len(spans), wrong[0])
    said = [words(card) for card in cards]
    assert sum("too short" in " ".join(one) for one in said) < len(said)
    assert any(" runs" in text or "in one run" in text for one in said for text in one)  # drop-outs, likewise
    verdicts = {re.search(r'class="verdict (\w+)"', card)[1] for card in cards}
    assert len(verdicts) >= 2  # else nothing was put to the test


def test_the_marks_are_drawn_alike(chromium, tmp_path):
    found = boathouse()
    spans = intervals_of(found)[::9]
    with alone(chromium, tmp_path, found) as page:
        cards = page.evaluate("(spans) => spans.map((span) => countercheck.alone.card(span))", [list(s) for s in spans])
    assert cards == [said_by_server(found, span) for span in spans]


def test_student_t_against_scipy(chromium, tmp_path):
    """Referee: scipy's quantile."""
    dofs = [1, 2, 2.5, 3, 4.7, 7, 12.34, 29, 60.5, 200, 5000]
    with alone(chromium, tmp_path, boathouse()) as page:
        ours = page.evaluate("(dofs) => dofs.map(countercheck.means.studentT)", dofs)
    assert ours == pytest.approx([student_t(0.95, dof) for dof in dofs], rel=1e-9)
