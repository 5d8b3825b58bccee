"""No peeking: a fingerprint of blocks, exclusions and plan, to be stored with a date before any delta is shown.

Also what a ride plan that was frozen before the ride still means for it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from analysis.blocks import Block
from analysis.edits import Edit
from analysis.setup import FrozenPlan, PlanStep


@dataclass(frozen=True, kw_only=True)
class Frozen:
    """What was frozen and when, as the set-up says; `matches` whether the blocks of this result are still those."""

    hash: str
    date: str | None
    matches: bool


def blocks_hash(blocks: Sequence[Block], edits: Sequence[Edit], plan: Sequence[PlanStep]) -> str:
    """SHA-256 over canonical JSON (sorted keys, no spaces) of edges, kinds, exclusions, edits and plan, in hexadecimal.

    No power and no name goes in: a better wording changes nothing, another edge by a second does.
    """
    tree = {
        "blocks": [[b.start_s, b.end_s, b.kind, b.interior_start_s, b.interior_end_s, b.excluded_reason] for b in blocks],
        "edits": [e.to_dict() for e in edits],
        "plan": [{k: v for k, v in vars(s).items() if v is not None} for s in plan],
    }
    text = json.dumps(tree, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def frozen_state(frozen_hash: str | None, frozen_utc: str | None, now: str) -> Frozen | None:
    """What the set-up says was frozen, held against the fingerprint of this result; None where nothing was frozen."""
    return None if frozen_hash is None else Frozen(hash=frozen_hash, date=frozen_utc, matches=frozen_hash == now)


@dataclass(frozen=True, kw_only=True)
class PlanBefore:
    """A frozen ride plan held against the ride, as far as set-up and recordings tell.

    same_steps : the set-up's steps are still those that were frozen; came_first : it was frozen before the reference's
    recording began, by that recording's own clock (None: the recording does not say when it began).
    """

    sha256: str
    frozen_utc: str
    same_steps: bool
    came_first: bool | None


def steps_hash(steps: Sequence[PlanStep]) -> str:
    """SHA-256 of a plan's steps as a set-up holds them: names, lengths, targets, kinds, in order."""
    rows = [[s.name, round(s.duration_s, 3), None if s.target_w is None else round(s.target_w, 3), s.kind] for s in steps]
    return hashlib.sha256(json.dumps(rows, separators=(",", ":"), ensure_ascii=False).encode()).hexdigest()


def plan_before(frozen: FrozenPlan | None, steps: Sequence[PlanStep], start_utc: str | None) -> PlanBefore | None:
    """What the set-up says of a plan frozen beforehand, held against its steps now and the ride's beginning."""
    if frozen is None:
        return None
    first = None if start_utc is None else datetime.fromisoformat(frozen.frozen_utc) < datetime.fromisoformat(start_utc)
    return PlanBefore(
        sha256=frozen.sha256, frozen_utc=frozen.frozen_utc, same_steps=steps_hash(steps) == frozen.steps_sha256, came_first=first
    )
