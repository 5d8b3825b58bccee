"""What is known of one device when findings are made, and what a finding is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from analysis.aligning import Alignment
from analysis.causes import Cause, Weighed
from analysis.judging import JudgedDelta
from analysis.kinetic import Stored
from analysis.response import Response
from analysis.watching import Lost


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One statement; `ci` is None where the size is a count; `short` is the part that a headline can take up."""

    code: str
    label: str
    size: float
    unit: str
    ci: tuple[float, float] | None
    strength: str
    text: str
    evidence: tuple[str, ...] = ()
    short: str = ""
    against: tuple[str, ...] = ()
    settle: str = ""


@dataclass(frozen=True, kw_only=True)
class Declared:
    """What the set-up and the file say of a recording's device; None where nothing is said."""

    sides: str | None = None
    crank_length_mm: float | None = None
    power_scale_pct: float | None = None
    firmware: str | None = None


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """All that is known of one device when findings are made.

    declared : by label. left_share_frac : mean left share, by work, as another recording measured it, with that one's label.
    """

    label: str
    by_kind: dict[str, JudgedDelta]
    causes: Sequence[Cause]
    response: Response
    alignment: Alignment
    dropouts: Lost
    stuck: Lost
    stored: Sequence[Stored] = ()
    weighed: Sequence[Weighed] = ()
    declared: Mapping[str, Declared] = field(default_factory=dict)
    left_share: tuple[float, str] | None = None


def held_of(seen: Evidence) -> JudgedDelta | None:
    return seen.by_kind.get("steady") or seen.by_kind.get("all")
