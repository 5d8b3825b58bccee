"""What a plan can show before it is ridden: the answer on the claim, and the smallest difference by kind and level."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html

from analysis.designing import Aim
from analysis.forecast import Detectable, Noise
from analysis.settling import ONE_TRIAL, TRIALS, Settling
from app.views.cells import table_key
from app.wording import KIND_MEANS, NOTHING, number, span, unbroken, with_unit

MEANING = (
    "Smallest difference: what a ride of this plan finds with a chance of four in five, its 95 % interval then leaving zero out. "
    "A smaller one may be there and stay unseen. Each block counts as one repeat, so two short holds at a level say more than "
    "one long one; what a hold loses is the settling at its start and end."
)


def answer_box(found: Settling, held: Detectable, aim: Aim) -> html.Div:
    """Can this plan settle the claim, and why not."""
    claim, rides = with_unit(f"±{number(aim.claim_pct)}", "%"), found.trials and found.trials.in_all
    if found.answer == ONE_TRIAL:
        days = f"it takes about {rides} rides" if rides else "no number of rides up to 60 does"
        head = f"Yes for the days of one ride. For the device from day to day {days}."
    elif found.answer == TRIALS:
        head = f"Not in one ride, but in about {rides}."
    elif found.trials is None:
        head = "No: with these two devices no number of rides can."
    else:
        head = "No: no number of rides up to 60 does."
    lines = [_open_line(found, aim), _one_ride_line(found, held), _provable_line(found)]
    points = aim.point is None or aim.reference_point is None
    if points:
        lines.insert(0, "A measuring point is not stated, so the chain may lie on either side: the widest range is taken.")
    lines.append(
        "This is the best case: a device that reads true, a reference and a loss in the middle of what they may be. A difference "
        "belongs to both devices until a third one, or a known mass, says whose it is."
    )
    return html.Div(
        [
            html.H3(f"Can this plan settle a claim of {claim}?"),
            html.P(head, className="design-answer"),
            html.Ul([html.Li(unbroken(line)) for line in lines if line], className="evidence"),
        ],
        className="design-settles",
    )


def _open_line(found: Settling, aim: Aim) -> str:
    if found.room_pct <= 0:
        return (
            f"The reference's own claim and the drivetrain loss leave ±{number(found.open_pct)} % open, which is not less than "
            f"the claim of ±{number(aim.claim_pct)} %. A tighter reference on the same side of the chain, a loss that was "
            "measured, a third device, or a known mass can settle it."
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
    heads = ("kind", "level", "blocks", "seconds that count", "half of the 95 % interval", "smallest difference")
    head = html.Thead(html.Tr([html.Th(h, scope="col", className="" if i < 1 else "num") for i, h in enumerate(heads)]))
    body = html.Tbody([_row(row) for row in rows])
    caption = html.Caption(f"Forecast for one ride. {_noise_words(noise)}")
    table = html.Table([caption, head, body], className="design-forecast", **table_key("forecast"))
    return html.Div([html.Div(table, className="table-box", tabIndex="0", role="group", **{"aria-label": "Forecast"}),
                     html.P(MEANING, className="hint")])  # fmt: skip


def _row(row: Detectable) -> html.Tr:
    level = NOTHING if row.level_w is None else with_unit(number(row.level_w, 0), "W")
    name = KIND_MEANS[row.kind] + (", all levels" if row.level_w is None and row.kind == "steady" else "")
    half = "one block: none" if row.half_width_pct is None else with_unit(f"±{number(row.half_width_pct)}", "%")
    smallest = NOTHING if row.smallest_pct is None else with_unit(number(row.smallest_pct), "%")
    cells = (level, str(row.blocks), with_unit(number(row.seconds, 0), "s"), half, smallest)
    return html.Tr([html.Th(name, scope="row"), *(html.Td(cell, className="num") for cell in cells)])


def _noise_words(noise: Noise) -> str:
    figures = (
        f"one second differs by {number(noise.second_pct)} %, a hold by {number(noise.block_pct)} %, a day by "
        f"{number(noise.trial_pct)} % (standard deviations)"
    )
    return unbroken(f"Noise from {noise.origin}: {figures}.")
