"""What the page sent about a note -> a note kept, changed or removed. The caller has checked the key."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from analysis.errors import BadSetup
from app.editing import version_of
from app.screen import MAX_TIME_S
from app.store import Store

MAX_CHARS = 500
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_LINES = re.compile(r"\n{3,}")


def change(store: Store, trial_id: str, data: Any) -> None:
    """Do what the owner wants: `act` is `pin`, `change` or `remove`.

    Raises
    ------
    BadSetup
        The text is missing or too long, the interval is none, or the trial is full of notes; nothing is kept.
    ChangedMeanwhile
        The note is no longer the one that the owner saw.
    """
    tree = data if isinstance(data, Mapping) else {}
    act, note_id = tree.get("act"), str(tree.get("note") or "")
    if act == "remove":
        store.notes.remove(trial_id, note_id, seen_version=version_of(tree))
    elif act == "change":
        store.notes.change(trial_id, note_id, text_of(tree.get("text")), span_of(tree), seen_version=version_of(tree))
    elif act == "pin":
        store.notes.add(trial_id, text_of(tree.get("text")), span_of(tree))
    else:
        raise BadSetup("The page asked for something that cannot be done with a note; reload it and try again.")


def text_of(sent: Any) -> str:
    """A note's text: lines as written, no more than one of them empty in a row. Raises BadSetup."""
    plain = sent.replace("\r\n", "\n").replace("\r", "\n") if isinstance(sent, str) else ""
    text = _LINES.sub("\n\n", _CONTROL.sub("", plain)).strip()
    if not text:
        raise BadSetup("Write the note first; it has no text.")
    if len(text) > MAX_CHARS:
        raise BadSetup(f"A note has at most {MAX_CHARS} characters; this one has {len(text)}.")
    return text


def span_of(tree: Mapping[str, Any]) -> tuple[float, float] | None:
    """The interval a note is about, None for the whole trial. Raises BadSetup. [s on the trial's clock]"""
    ends = tree.get("from"), tree.get("to")
    if ends == (None, None):
        return None
    sound = all(isinstance(t, (int, float)) and math.isfinite(t) and abs(t) <= MAX_TIME_S for t in ends)
    if not sound or not ends[0] < ends[1]:
        raise BadSetup("The note's interval is none; select it on the overlay again.")
    return float(ends[0]), float(ends[1])
