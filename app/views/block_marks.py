"""What is said of one block wherever it stands: edited or excluded by hand, how well it was held, its place in card and strip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.wording import counted, number, signed, with_unit

# The strip's own drawing is hatched by kind; edited carries a bar below, excluded is crossed out. Shape, not colour alone.
EDITED, EXCLUDED = "edited by hand", "excluded"


def tags(block: Mapping[str, Any]) -> list[html.Span]:
    """`edited by hand`, `excluded: the reason`; nothing for a block as found."""
    found = []
    if block.get("edited") and block.get("excluded_reason") is None:
        found.append(html.Span(EDITED, className="tag edited"))
    if block.get("excluded_reason") is not None:
        found.append(html.Span(f"{EXCLUDED}: {block['excluded_reason']}", className="tag excluded"))
    return found


def held_line(block: Mapping[str, Any], repeats: int) -> html.Span | None:
    """How well a hold was held, its repeats, and where a trainer seems to have held the power; None for other blocks."""
    if block["kind"] != "steady" or block.get("spread_frac") is None:
        return None
    pieces = [f"spread {with_unit(number(100 * block['spread_frac']), '%')}"]
    if block.get("trend_frac") is not None:
        pieces.append(f"trend {with_unit(signed(100 * block['trend_frac']), '%')}")
    if repeats > 1:
        pieces.append(f"one of {repeats} at {block['level_group']}")
    if block.get("fixed_power_in"):
        pieces.append(f"fixed power by {' and '.join(block['fixed_power_in'])}")
    return html.Span(", ".join(pieces), className="held small")


def repeats_of(blocks: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    """How many blocks share each level."""
    groups = [block.get("level_group") for block in blocks if block.get("level_group")]
    return {group: groups.count(group) for group in groups}


def stretch_of(block: Mapping[str, Any]) -> tuple[float, float]:
    """What selecting a block selects: the stretch its delta is taken from, so that card and table agree. [s]"""
    start_s, end_s = block.get("interior_start_s"), block.get("interior_end_s")
    if start_s is None or end_s is None or end_s <= start_s:
        return block["start_s"], block["end_s"]
    return start_s, end_s


def block_lines(blocks: Sequence[Mapping[str, Any]], window: tuple[float, float] | None) -> list[html.P]:
    """For the interval card: the block that is selected with its marks, else how many marked blocks the interval touches."""
    if window is not None:
        for block in blocks:
            if any(_same(window, one) for one in (stretch_of(block), (block["start_s"], block["end_s"]))):
                return [html.P([html.Strong(block.get("name") or block["kind"]), *tags(block)], className="card-block")]
    touched = [b for b in blocks if window is None or (b["end_s"] > window[0] and b["start_s"] < window[1])]
    out = [b for b in touched if b.get("excluded_reason") is not None]
    edited = [b for b in touched if b.get("edited") and b.get("excluded_reason") is None]
    told = [f"{counted(len(edited), 'block')} {EDITED}"] if edited else []
    told += [f"{counted(len(out), 'block')} excluded, but counted here"] if out else []
    return [html.P(f"In it: {', '.join(told)}.", className="card-block small")] if told else []


def _same(window: tuple[float, float], other: tuple[float, float]) -> bool:
    return abs(window[0] - other[0]) < 0.5 and abs(window[1] - other[1]) < 0.5
