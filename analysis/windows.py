"""The seconds that a block's delta rests on, where a device may answer late: surges reach out, riding along draws back.

Blocks partition the trial; these windows do too where they touch. A hold keeps its own trimmed interior.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.blocks import Block, surges

# A device up to four seconds late and smoothed over eight has shown a change within this. Common practice, no source.
TAIL_S = 8.0
# As much is left at the other side for a reference that is the later one.
HEAD_S = 3.0
# Riding along keeps at least this share of a short block, so that it still has a delta.
MIN_KEPT_FRAC = 0.4


def with_windows(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """Blocks with the interiors of surges and of what lies around them set.

    A surge's work is counted until the slower device has shown it, so its window runs on by `TAIL_S` and begins `HEAD_S`
    early, but never into another surge or into a hole; riding along and rest begin and end as much later and earlier, else
    the tail of a sprint would be read as a device that reads high while riding easily.
    """
    sprints = {b.id for b in surges(blocks)}
    out = []
    for i, block in enumerate(blocks):
        before, after = blocks[i - 1] if i else None, blocks[i + 1] if i + 1 < len(blocks) else None
        if block.id in sprints:
            head, tail = _reach(before, sprints, HEAD_S), _reach(after, sprints, TAIL_S)
            block = replace(block, interior_start_s=block.start_s - head, interior_end_s=block.end_s + tail)
        elif block.kind in ("free", "idle"):
            head = TAIL_S if before is not None and before.kind not in ("gap", "idle") else 0.0
            tail = HEAD_S if after is not None and after.kind not in ("gap", "idle") else 0.0
            shrink = min(1.0, (1 - MIN_KEPT_FRAC) * block.length_s / (head + tail)) if head + tail else 1.0
            start, end = block.start_s + round(head * shrink), block.end_s - round(tail * shrink)
            block = replace(block, interior_start_s=start, interior_end_s=end)
        out.append(block)
    return tuple(out)


def _reach(neighbour: Block | None, sprints: set[str], most_s: float) -> float:
    """Seconds that a surge may take of its neighbour: what that one gives up itself."""
    if neighbour is None or neighbour.kind in ("gap", "transient") or neighbour.id in sprints:
        return 0.0
    if neighbour.kind == "steady":
        return most_s if neighbour.length_s >= 60 else 0.0
    return float(round(most_s * min(1.0, (1 - MIN_KEPT_FRAC) * neighbour.length_s / (HEAD_S + TAIL_S))))
