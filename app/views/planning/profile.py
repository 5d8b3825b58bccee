"""The ride drawn ahead: a block per step, as high as its target, with the block strip's hatching and letters. Plain HTML."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from dash import html

from analysis.blocks import LETTERS
from analysis.designing import EXERCISES, Design, Ridden, ridden
from analysis.figures.ticks import clock_text, clock_ticks
from app.wording import KIND_MEANS, counted, number, with_unit

# Heights of what has no target, as a share of the picture. All out reaches the top and fades.
NO_TARGET = {"sprint": 1.0, "sync": 0.8, "surge": 0.8, "hold": 0.3, "easy": 0.16, "coast": 0.05, "zero": 0.05}
HEAD_ROOM, LEAST_TOP_W = 1.12, 150.0


def profile(design: Design) -> html.Figure:
    """The whole ride from left to right."""
    steps = ridden(design)
    end_s = steps[-1].start_s + steps[-1].step.duration_s
    targets = [r.step.target_w for r in steps if r.step.target_w]
    top_w = max([LEAST_TOP_W, *targets]) * HEAD_ROOM
    bars = [_bar(one, end_s, top_w) for one in steps]
    words = (
        f"The ride as blocks of power over time: {counted(len(steps), 'step')} in {clock_text(end_s)}"
        + (f", targets from {number(min(targets), 0)} to {number(max(targets), 0)} W" if targets else "")
        + ". The table of steps says the same."
    )
    ridden_kinds = {EXERCISES[r.step.exercise] for r in steps}
    kinds = [kind for kind in LETTERS if kind in ridden_kinds]
    picture = html.Div(
        [
            html.Div(_part_marks(steps, end_s), className="design-marks above"),
            html.Div([*_levels(top_w), *bars], className="design-plot"),
            html.Div(_clock(end_s), className="design-marks below"),
        ],
        className="design-picture", role="img", **{"aria-label": words},
    )  # fmt: skip
    legend = [
        html.Span([html.Span(LETTERS[kind], className=f"block-letter {kind}", **{"aria-hidden": "true"}), KIND_MEANS[kind]])
        for kind in kinds
    ]
    caption = html.Figcaption([*legend, html.Span("Height: target. Faded at the top: all out. Above: numbers of the parts.")])
    return html.Figure([picture, caption], className="design-profile")


def _bar(one: Ridden, end_s: float, top_w: float) -> html.Span:
    step, kind = one.step, EXERCISES[one.step.exercise]
    wide = step.duration_s / end_s
    high = step.target_w / top_w if step.target_w is not None else NO_TARGET[step.exercise]
    aimed = "" if step.target_w is not None else " all-out" if step.exercise == "sprint" else " no-target"
    return html.Span(
        html.Span(LETTERS[kind]),  # seen where the bar is as wide, see assets/72-plan.css
        className=f"design-bar {kind}{aimed}",
        title=f"{clock_text(one.start_s)} {step.name}, {clock_text(step.duration_s)}",
        style={"left": _pct(one.start_s / end_s), "width": _pct(wide), "height": _pct(max(high, 0.02))},
    )


def _levels(top_w: float) -> list[html.Span]:
    step_w = next(w for w in (50, 100, 200, 500, 1000) if top_w / w <= 6)
    return [
        html.Span(html.Span(with_unit(str(w), "W")), className="design-level", style={"bottom": _pct(w / top_w)})
        for w in range(step_w, int(top_w), step_w)
    ]


def _part_marks(steps: Sequence[Ridden], end_s: float) -> list[html.Span]:
    starts = {one.part: one.start_s for one in reversed(steps)}
    edges = [*sorted(starts.items()), (None, end_s)]
    return [
        html.Span(html.Span(str(part + 1)), className="design-part-mark",
                  style={"left": _pct(start / end_s), "width": _pct((after - start) / end_s)})
        for (part, start), (_, after) in itertools.pairwise(edges)
    ]  # fmt: skip


def _clock(end_s: float) -> list[html.Span]:
    ticks = clock_ticks(0.0, end_s, most=8)
    return [
        html.Span(clock_text(t), className="design-tick" + (" edge" if t / end_s > 0.95 else ""), style={"left": _pct(t / end_s)})
        for t in ticks
    ]


def _pct(share: float) -> str:
    return f"{100 * share:.3f}%"
