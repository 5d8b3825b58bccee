"""Apply a reviewer's edits to the blocks: a partition in, a partition out, what was touched marked as edited."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.blocks import Block, block_of, with_names
from analysis.consensus import Consensus
from analysis.edits import Edit
from analysis.errors import UnfitEdit

# An edge is meant when it lies this close to the time given: edges lie on whole seconds. [s]
NEAR_S = 2.0
# Shorter blocks have no interior left.
MIN_BLOCK_S = 5


def apply_edits(consensus: Consensus, blocks: Sequence[Block], edits: Sequence[Edit]) -> tuple[Block, ...]:
    """The blocks after all edits, in the order given; ids are numbered anew, every second still lies in exactly one block.

    Excluded blocks keep their place, with `excluded_reason`.

    Raises
    ------
    UnfitEdit
        An edit names no block or edge of this trial, or would leave a block shorter than `MIN_BLOCK_S`.
    """
    out = list(blocks)
    for index, edit in enumerate(edits):
        out = _ACTIONS[edit.action](consensus, out, edit, f"edit[{index}] ({edit.action} at {edit.at_s:g} s)")
    if not edits:
        return tuple(out)
    return with_names([replace(b, id=f"B{number:02d}") for number, b in enumerate(out, start=1)])


def _move_edge(consensus: Consensus, blocks: list[Block], edit: Edit, where: str) -> list[Block]:
    i = _edge(blocks, edit.at_s, where)
    left, right, to_s = blocks[i - 1], blocks[i], _whole(edit.to_s or 0.0)
    if not left.start_s + MIN_BLOCK_S <= to_s <= right.end_s - MIN_BLOCK_S:
        words = "the edge must stay between {first} and {last}, got {to}; merge the blocks instead if one is to go."
        raise UnfitEdit(where, words, first=left.start_s + MIN_BLOCK_S, last=right.end_s - MIN_BLOCK_S, to=to_s)
    parts = _cut(consensus, left, left.start_s, to_s), _cut(consensus, right, to_s, right.end_s)
    return [*blocks[: i - 1], *parts, *blocks[i + 1 :]]


def _split(consensus: Consensus, blocks: list[Block], edit: Edit, where: str) -> list[Block]:
    i, at_s = _block(blocks, edit.at_s, where), _whole(edit.at_s)
    one = blocks[i]
    if not one.start_s + MIN_BLOCK_S <= at_s <= one.end_s - MIN_BLOCK_S:
        words = f"both parts need at least {MIN_BLOCK_S} s; {{name}} runs from {{start}} to {{end}}."
        raise UnfitEdit(where, words, name=one.name, start=one.start_s, end=one.end_s)
    parts = _cut(consensus, one, one.start_s, at_s), _cut(consensus, one, at_s, one.end_s)
    return [*blocks[:i], *(replace(p, name=f"{one.name}, part {n}") for n, p in enumerate(parts, start=1)), *blocks[i + 1 :]]


def _merge(consensus: Consensus, blocks: list[Block], edit: Edit, where: str) -> list[Block]:
    """The longer of the two gives kind, name and exclusion."""
    i = _edge(blocks, edit.at_s, where)
    left, right = blocks[i - 1], blocks[i]
    kept = left if left.length_s >= right.length_s else right
    if "gap" in (left.kind, right.kind) and left.kind != right.kind:
        raise UnfitEdit(where, "a stretch without data cannot be merged with one that has them.")
    return [*blocks[: i - 1], _cut(consensus, kept, left.start_s, right.end_s), *blocks[i + 1 :]]


def _relabel(consensus: Consensus, blocks: list[Block], edit: Edit, where: str) -> list[Block]:
    i = _block(blocks, edit.at_s, where)
    one = blocks[i]
    if one.kind == "gap" and edit.kind is not None:
        raise UnfitEdit(where, "there are no data from two recordings there, so it stays a gap.")
    kind = edit.kind or one.kind
    name = edit.name or (one.name if kind == one.kind else "")
    return [*blocks[:i], _cut(consensus, replace(one, kind=kind, name=name), one.start_s, one.end_s), *blocks[i + 1 :]]


def _exclude(consensus: Consensus, blocks: list[Block], edit: Edit, where: str) -> list[Block]:
    i = _block(blocks, edit.at_s, where)
    return [*blocks[:i], replace(blocks[i], excluded_reason=edit.reason, edited=True), *blocks[i + 1 :]]


_ACTIONS = {"move-edge": _move_edge, "split": _split, "merge": _merge, "relabel": _relabel, "exclude": _exclude}


def _cut(consensus: Consensus, block: Block, start_s: float, end_s: float) -> Block:
    """The block over another range, its figures taken anew."""
    zero = consensus.second_s[0]
    fresh = block_of(consensus, int(start_s - zero), int(end_s - zero), kind=block.kind, number=0, name=block.name)
    return replace(fresh, edited=True, excluded_reason=block.excluded_reason)


def _edge(blocks: list[Block], at_s: float, where: str) -> int:
    """Index of the block that begins at the edge nearest to a time."""
    if len(blocks) > 1:
        i = min(range(1, len(blocks)), key=lambda k: abs(blocks[k].start_s - at_s))
        if abs(blocks[i].start_s - at_s) <= NEAR_S:
            return i
    words = f"no edge between blocks lies within {NEAR_S:g} s of {{at}}; give an edge's time as the result lists it."
    raise UnfitEdit(where, words, at=at_s)


def _block(blocks: list[Block], at_s: float, where: str) -> int:
    for i, block in enumerate(blocks):
        if block.start_s <= at_s < block.end_s:
            return i
    words = "the trial runs from {start} to {end}; give a time within it."
    raise UnfitEdit(where, words, start=blocks[0].start_s, end=blocks[-1].end_s)


def _whole(at_s: float) -> float:
    return float(round(at_s))
