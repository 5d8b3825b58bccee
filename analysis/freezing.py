"""No peeking: a fingerprint of blocks, exclusions and plan, to be stored with a date before any delta is shown."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.blocks import Block
from analysis.edits import Edit
from analysis.setup import PlanStep


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
