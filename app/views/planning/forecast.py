"""What a plan can show before it is ridden: the answer on the claim, and the smallest difference by kind and level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from analysis.designing import AIM_PARTS, Aim
from analysis.forecast import MAX_TRIALS, Detectable, Noise
from analysis.settling import BESIDE, MEASURED, MEASURED_LOSS_PCT, ONE_TRIAL, TIGHTER, TRIALS, Settling, WayOut
from app.views.cells import table_key
from app.wording import NOTHING, number, span, unbroken, with_unit

MEANING = (
    "Smallest difference: what a ride of this plan finds with a chance of four in five, its 95 % interval then leaving zero out. "
    "A smaller one may be there and stay unseen. Each block counts as one repeat, so two short holds at a level say more than "
    "one long one; what a hold loses is the settling at its start and end."
)
ROW_NAMES = {"steady": "all held power", "transient": "surges and sprints"}
PART_WORDS = {
    "claim_pct": "the claim", "reference_claim_pct": "the reference's claim", "point": "the measuring point",
    "reference_point": "the reference's measuring point", "loss_pct": "the drivetrain loss",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """All that is known of a plan beforehand; `settled` is None for a plan without held power, `ways` lead out of a no."""

    rows: Sequence[Detectable]
    noise: Noise
    settled: Settling | None = None
    ways: Sequence[WayOut] = ()


def answer_of(aim: Aim, forecast: Forecast) -> list[Any]:
    """The answer on the claim, then what can be seen by kind and level."""
    answer = no_holds() if forecast.settled is None else answer_box(forecast, aim)
    return [answer, forecast_table(forecast.rows, forecast.noise)] if forecast.rows else [answer]


def answer_box(forecast: Forecast, aim: Aim) -> html.Div:
    """Can this plan settle the claim, why not, and what would let it."""
    found, held = forecast.settled, forecast.rows[0]
    claim = with_unit(f"±{number(aim.claim_pct)}", "%")
    points = aim.point is None or aim.reference_point is None
    lines = [
        assumed_words(aim),
        "A measuring point is not stated, so the chain may lie on either side: the widest range is taken." if points else "",
        _open_line(found, aim, helped=bool(forecast.ways)), *(_way_line(way, aim) for way in forecast.ways),
        _one_ride_line(found, held), _provable_line(found),
        "This is the best case: a device that reads true, a reference and a loss in the middle of what they may be. A difference "
        "belongs to both devices until a third one, or a known mass, says whose it is.",
    ]  # fmt: skip
    return html.Div(
        [
            html.H3(f"Can this plan settle a claim of {claim}?"),
            html.P(unbroken(_head(found)), className="design-answer"),
            html.Ul([html.Li(unbroken(line)) for line in lines if line], className="evidence"),
        ],
        className="design-settles",
    )


def _head(found: Settling) -> str:
    rides = found.trials and found.trials.in_all
    if found.answer == ONE_TRIAL:
        return f"Yes for the days of one ride. For the device from day to day {_days(rides)}."
    if found.answer == TRIALS:
        return f"Not in one ride, but in about {rides}."
    shown = "" if found.provable_pct is None else (
        f" One ride does find an error of the device's own from about {number(found.provable_pct)} % on."
    )  # fmt: skip
    if found.trials is None:
        return f"No: with these two devices no number of rides can.{shown}"
    return f"No: no number of rides up to {MAX_TRIALS} does.{shown}"


def _days(rides: int | None) -> str:
    return f"it takes about {rides} rides" if rides else f"no number of rides up to {MAX_TRIALS} does"


def assumed_words(aim: Aim) -> str:
    """What nobody has chosen yet, in a sentence; empty where everything was."""
    if not aim.assumed:
        return ""
    if set(aim.assumed) == set(AIM_PARTS):
        return "Both devices, their claims and the drivetrain loss are assumed until you choose them; the answer follows."
    return f"Assumed and not chosen: {', '.join(PART_WORDS[name] for name in aim.assumed)}."


def _way_line(way: WayOut, aim: Aim) -> str:
    low, high = way.aim.loss_pct
    tight = number(way.aim.reference_claim_pct, 2)
    words = {
        MEASURED: f"drivetrain loss measured to within ±{MEASURED_LOSS_PCT:g} % (here {number(low)} to {number(high)} %)",
        BESIDE: f"a reference on the same side of the chain as the {aim.point}",
        TIGHTER: f"a reference with a claim of ±{tight} %",
    }
    what = " and ".join(words[change] for change in way.changes)
    rides = way.found.trials and way.found.trials.in_all
    if way.found.answer == ONE_TRIAL:
        return f"It would with {what}: yes for the days of one ride; from day to day {_days(rides)}."
    return f"It would with {what}: in about {rides} rides."


def _open_line(found: Settling, aim: Aim, *, helped: bool) -> str:
    if found.room_pct <= 0:
        advice = "" if helped else (
            " A tighter reference on the same side of the chain, a loss that was measured, a third device, or a known mass can "
            "settle it."
        )  # fmt: skip
        return (
            f"The reference's own claim and the drivetrain loss leave ±{number(found.open_pct)} % open, which is not less than "
            f"the claim of ±{number(aim.claim_pct)} %.{advice}"
        )
    return (
        f"The reference's own claim and the drivetrain loss leave ±{number(found.open_pct)} % open; of the claim of "
        f"±{number(aim.claim_pct)} % that leaves ±{number(found.room_pct)} % for chance."
    )


def _one_ride_line(found: Settling, held: Detectable) -> str:
    if held.half_width_pct is None:
        return "With a single held block a ride has no interval of its own; hold power at least twice."
    half = number(held.half_width_pct)
    return f"By chance alone the interval of one ride is ±{half} % on average, over {held.blocks} blocks."


def _provable_line(found: Settling) -> str:
    if found.provable_pct is None:
        return ""
    return (
        f"Against the device: claims and loss explain {span(found.allowance_pct)} %. An error of its own is found outside that "
        f"in four rides of five once it reaches about {number(found.provable_pct)} %."
    )


def no_holds() -> html.P:
    """Instead of an answer, for a plan without held power."""
    words = "Nothing in this plan holds power, so it can settle no claim; add steps that hold power."
    return html.P(words, className="design-answer")


def forecast_table(rows: Sequence[Detectable], noise: Noise) -> html.Div:
    """A row per kind and level."""
    heads = ("what is ridden", "blocks", "each counts", "half of the 95 % interval", "smallest difference")
    head = html.Thead(html.Tr([html.Th(h, scope="col", className="" if i < 1 else "num") for i, h in enumerate(heads)]))
    body = html.Tbody([_row(row) for row in rows])
    caption = html.Caption(f"Forecast for one ride. {_noise_words(noise)}")
    table = html.Table([caption, head, body], className="design-forecast", **table_key("forecast"))
    return html.Div([html.Div(table, className="table-box", tabIndex="0", role="group", **{"aria-label": "Forecast"}),
                     html.P(MEANING, className="hint")])  # fmt: skip


def _row(row: Detectable) -> html.Tr:
    name = ROW_NAMES[row.kind] if row.level_w is None else f"held at {with_unit(number(row.level_w, 0), 'W')}"
    half = NOTHING if row.half_width_pct is None else with_unit(f"±{number(row.half_width_pct)}", "%")
    smallest = "not from one" if row.smallest_pct is None else with_unit(number(row.smallest_pct), "%")
    cells = (str(row.blocks), with_unit(number(row.seconds, 0), "s"), half, smallest)
    return html.Tr([html.Th(name, scope="row"), *(html.Td(cell, className="num") for cell in cells)])


def _noise_words(noise: Noise) -> str:
    figures = (
        f"one second differs by {number(noise.second_pct)} %, a hold by {number(noise.block_pct)} %, a day by "
        f"{number(noise.trial_pct)} % (standard deviations)"
    )
    return unbroken(f"Noise from {noise.origin}: {figures}.")
