"""Changes that a reviewer makes to the blocks by hand: frozen records, read from and written to plain dicts.

In `setup.toml`, in the order in which they were made (undo drops the last one); times in seconds on the trial's clock:

    [[edit]]
    action = "move-edge"   at_s = 362.0   to_s = 365.0              # the edge nearest to at_s goes to to_s
    action = "split"       at_s = 900.0                             # the block there becomes two
    action = "merge"       at_s = 541.0                             # the edge nearest to at_s goes
    action = "relabel"     at_s = 700.0   kind = "free"  name = "warm-up, loose"     # the block there; either or both
    action = "exclude"     at_s = 700.0   reason = "pedal unclipped"                 # the block there counts nowhere

Every entry may carry a `reason`; an exclusion must.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.errors import BadSetup

ACTIONS = ("move-edge", "split", "merge", "relabel", "exclude")
# What each action needs besides `action` and `at_s`, and what it may have.
_NEEDS = {"move-edge": {"to_s"}, "split": set(), "merge": set(), "relabel": set(), "exclude": {"reason"}}
_MAY = {action: {"reason"} for action in ACTIONS} | {"relabel": {"kind", "name", "reason"}}
# A block by hand has one of these; a gap is where data are missing and cannot be made by hand.
EDIT_KINDS = ("steady", "transient", "free", "idle")
MAX_TIME_S = 10 * 86400.0
MAX_TEXT = 200


@dataclass(frozen=True, kw_only=True)
class Edit:
    """One change; fields that its action does not use are None."""

    action: str
    at_s: float
    to_s: float | None = None
    kind: str | None = None
    name: str | None = None
    reason: str | None = None

    def to_dict(self) -> dict[str, Any]:
        """The entry that `edit_from_dict` reads back to an equal edit."""
        return {k: v for k, v in vars(self).items() if v is not None}


def edit_from_dict(entry: Mapping[str, Any], index: int | None, *, name: str = "setup") -> Edit:
    """Check one entry, by its place in a list or alone. Raises BadSetup, naming the key and what to write instead."""
    where = "" if index is None else f"edit[{index}]."
    action = entry.get("action")
    if action not in ACTIONS:
        raise BadSetup(f"{name}: {where}action must be one of {', '.join(ACTIONS)}; got {action!r}.")
    known = {"action", "at_s"} | _NEEDS[action] | _MAY[action]
    for key in entry:
        if key not in known:
            raise BadSetup(f"{name}: unknown key {where}{key} for {action}; known here: {', '.join(sorted(known))}.")
    for key in ("at_s", *sorted(_NEEDS[action])):
        if entry.get(key) is None:
            raise BadSetup(f"{name}: {where}{key} is missing; {action} needs it.")
    kind = entry.get("kind")
    if kind is not None and kind not in EDIT_KINDS:
        raise BadSetup(f"{name}: {where}kind must be one of {', '.join(EDIT_KINDS)}; got {kind!r}.")
    if action == "relabel" and kind is None and entry.get("name") is None:
        raise BadSetup(f"{name}: {where}relabel needs a kind or a name, else it changes nothing.")
    return Edit(
        action=action, at_s=_seconds(entry, "at_s", name, where) or 0.0, to_s=_seconds(entry, "to_s", name, where),
        kind=kind, name=_words(entry, "name", name, where), reason=_words(entry, "reason", name, where),
    )  # fmt: skip


def _seconds(entry: Mapping[str, Any], key: str, name: str, where: str) -> float | None:
    value = entry.get(key)
    if value is None:
        return None
    number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    if not number or abs(value) > MAX_TIME_S:
        raise BadSetup(f"{name}: {where}{key} must be seconds on the trial's clock; got {value!r}.")
    return float(value)


def _words(entry: Mapping[str, Any], key: str, name: str, where: str) -> str | None:
    value = entry.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip() or len(value) > MAX_TEXT:
        raise BadSetup(f"{name}: {where}{key} must be text of 1 to {MAX_TEXT} characters in quotes; got {value!r}.")
    return value.strip()
