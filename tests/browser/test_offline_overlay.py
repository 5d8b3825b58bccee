"""The overlay that a report without a server draws is the server's, for any choice and any stretch.

Referee: `analysis.figures.overlay` in Python; the report's is made in the browser from the samples.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from offline_pages import alone
from open_trials import boathouse
from test_offline_figures import holes, real_ride

from analysis.figures import overlay
from app.screen import MEANS_S, OPENING, ROWS, from_query
from app.views.overlay import look_of

# The page computes in 64 bits, too; both hand 32 to the chart. Ticks and limits are sums of few numbers.
CLOSE = 2e-6
PLAIN = """([look, view, ink]) => JSON.parse(JSON.stringify(countercheck.alone.overlay(look, view, ink), (key, value) =>
  ArrayBuffer.isView(value) ? Array.from(value, (v) => Number.isFinite(v) ? v : null)
    : typeof value === "number" && !Number.isFinite(value) ? null : value))"""


def looks_of(found):
    """Every choice once with every other kind of choice, over stretches from a minute to the whole ride."""
    labels, whole = found.trial.labels, found.trial.end_s - found.trial.start_s
    middle = found.trial.start_s + 0.45 * whole
    views = [None, (middle, middle + 60), (middle - 200, middle + 300), (middle, middle + 0.4 * whole)]
    pairs = [(None, None), *((None, label) for label in labels[1:]), (labels[-1], None)]
    pairs += [(labels[0], labels[1])]
    for i, ((device, against), mean_s, view) in enumerate(product(pairs, (None, *MEANS_S), views)):
        rows = tuple(row for j, row in enumerate(ROWS) if (i >> j) & 1)
        unit, axis = ("pct", "w")[i % 2], ("elapsed", "clock")[i // 2 % 2]
        screen = replace(OPENING, device=device, against=against, mean_s=mean_s, rows=rows, unit=unit, axis=axis)
        yield screen.fitted(labels), view, ("light", "dark")[i // 3 % 2]


def plain(node):
    if isinstance(node, dict):
        return {key: plain(value) for key, value in node.items() if value is not None}
    if isinstance(node, np.ndarray):
        return [None if isinstance(v, float) and math.isnan(v) else v for v in node.tolist()]
    return [plain(one) for one in node] if isinstance(node, (list, tuple)) else node


def differs(ours, theirs, where="") -> str | None:
    """The first place where two figures differ, in words."""
    if isinstance(ours, dict) and isinstance(theirs, dict):
        ours, theirs = ({k: v for k, v in one.items() if v is not None} for one in (ours, theirs))
        if set(ours) != set(theirs):
            return f"{where}: {sorted(set(ours) ^ set(theirs))}"
        return next(filter(None, (differs(ours[k], theirs[k], f"{where}.{k}") for k in theirs)), None)
    if isinstance(ours, list) and isinstance(theirs, list):
        if len(ours) != len(theirs):
            return f"{where}: {len(ours)} against {len(theirs)}"
        pairs = enumerate(zip(ours, theirs, strict=True))
        return next(filter(None, (differs(a, b, f"{where}[{i}]") for i, (a, b) in pairs)), None)
    if all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in (ours, theirs)):
        return None if math.isclose(ours, theirs, rel_tol=CLOSE, abs_tol=2e-4) else f"{where}: {ours} against {theirs}"
    return None if ours == theirs else f"{where}: {ours!r} against {theirs!r}"


@pytest.mark.parametrize("make", [boathouse, real_ride, holes], ids=["built-in", "real", "holes"])
def test_every_choice_and_stretch_is_drawn_alike(chromium, tmp_path, make):
    found = make()
    wrong, drawn = [], 0
    with alone(chromium, tmp_path, found) as page:
        for screen, view, ink in looks_of(found):
            look = {"window": None, "view": None, **screen.to_store()}
            ours = page.evaluate(PLAIN, [look, view, ink])
            figure = overlay(found.report, found.trial, theme=ink, view=view, look=look_of(screen))
            theirs = plain({"data": [trace.to_plotly_json() for trace in figure.data], "layout": figure.layout.to_plotly_json()})
            if said := differs(ours, theirs):
                wrong.append((said, screen, view, ink))
            drawn += 1
    assert not wrong, (len(wrong), drawn, wrong[0])
    assert drawn >= 80


QUERIES = (
    "", "from=1200&to=1500", "from=1500&to=1200", "from=-50&to=99999", "from=&to=3", "from=1e2&to=2e2", "from=nan&to=7",
    "view=600.0,900.0", "view=600", "view=610,612", "view=3000,9e5", "view=-5,1e6",
    "device=pedals", "device=nobody", "against=pedals", "against=hub",
    "against=spider&device=spider", "against=spider&device=hub", "unit=w", "unit=kg", "mean=10", "mean=7", "mean=010",
    "rows=balance,cadence", "rows=all", "axis=clock", "from=2000&to=2000.4", "from=3900&to=99999",
    "from=0&to=1e9&view=1,2&unit=w&mean=30&rows=heart_rate,temperature&axis=clock&x=1",
)  # fmt: skip


def test_an_address_means_the_same_as_on_a_server(chromium, tmp_path):
    """Referee: `app.screen.from_query`, fitted to the trial as the server does it."""
    from urllib.parse import parse_qsl

    from analysis.figures import clamp_view
    from app.showing import inside

    found = boathouse()
    with alone(chromium, tmp_path, found) as page:
        ours = [page.evaluate("(q) => countercheck.alone.screenOf(q)", query) for query in QUERIES]
    for query, said in zip(QUERIES, ours, strict=True):
        screen = from_query(dict(parse_qsl(query))).fitted(found.trial.labels)
        view = clamp_view(screen.view, found.trial)
        whole = view == (found.trial.start_s, found.trial.end_s)
        ends = {"window": inside(screen.window, found.trial), "view": None if whole else view}
        wanted = {**screen.to_store(), **{name: None if one is None else list(one) for name, one in ends.items()}}
        assert said == wanted, query
