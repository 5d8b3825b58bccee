"""What the owner wants done to the blocks -> edits kept with the trial's set-up; each is tried before it is kept.

Times come as typed: `15:00`, `1:02:03` or `900`, on the trial's clock.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.blocks import Block
from analysis.consensus import consensus_of
from analysis.editing import apply_edits
from analysis.edits import Edit, edit_from_dict
from analysis.errors import BadSetup, UnfitEdit
from analysis.report import blocks_of
from analysis.setup import Setup
from app.history import before_last_press
from app.jobs import Ready
from app.services import Services
from app.store import ChangedMeanwhile, NoSuchTrial
from app.wording import clock_text

MAX_EDITS = 300  # a ride has some fifty blocks; more changes than this are no correction any more
SAME_S = 0.5  # edges lie on whole seconds
_CLOCK = re.compile(r"(-?)(?:(\d{1,3}):)?(\d{1,4}):([0-5]?\d)")


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What the page sent: the act, the version of the set-up that was on the screen, the fields as text."""

    act: str
    seen: int
    fields: Mapping[str, str]

    def text(self, name: str) -> str:
        return self.fields.get(name, "")

    def time_s(self, name: str, what: str) -> float:
        """A typed time on a whole second. Raises BadSetup, naming the field."""
        return float(round(seconds_of(self.text(name), what)))


def wish_of(data: Any) -> Wish:
    """A form as the browser sent it; whatever is not text where text belongs counts as empty."""
    tree = data if isinstance(data, Mapping) else {}
    seen = version_of(tree)
    return Wish(act=str(tree.get("act")), seen=seen, fields={str(k): v.strip() for k, v in tree.items() if isinstance(v, str)})


def version_of(data: Any) -> int:
    """The version of the set-up that a form was made for; -1 (never current) where it says none."""
    seen = data.get("seen") if isinstance(data, Mapping) else None
    return int(seen) if isinstance(seen, str) and re.fullmatch(r"\d{1,9}", seen) else -1


def seconds_of(text: str, what: str) -> float:
    """`15:00`, `1:02:03` or `900` as seconds. Raises BadSetup, naming the field."""
    plain = text.strip().replace("−", "-")
    clock = _CLOCK.fullmatch(plain)
    if clock:
        hours, minutes, seconds = (int(part or 0) for part in clock.groups()[1:])
        if clock[2] is None or minutes < 60:
            return (-1.0 if clock[1] else 1.0) * (3600 * hours + 60 * minutes + seconds)
    if re.fullmatch(r"-?\d{1,6}(\.\d{1,3})?", plain):
        return float(plain)
    raise BadSetup(f"The {what} must be a time on the trial's clock such as 15:00 or 1:02:03; got {text or 'nothing'!r}.")


def change(services: Services, trial_id: str, data: Any) -> None:
    """Do what the owner wants and keep it; the caller has checked the key.

    Raises
    ------
    BadSetup
        It cannot be done; nothing is kept.
    ChangedMeanwhile
        The blocks are no longer those that the owner saw.
    """
    wish, stored = wish_of(data), services.store.trial(trial_id)
    if stored is None:
        raise NoSuchTrial()
    if wish.seen != stored.setup_version:
        raise ChangedMeanwhile("Somebody else changed this trial meanwhile; reload the page and try again.")
    edits = stored.setup.edits
    if wish.act in ("undo", "automatic"):
        if not edits:
            raise BadSetup("Nothing has been changed by hand, so there is nothing to take back.")
        edits = before_last_press(services.store.history(trial_id)) if wish.act == "undo" else ()
    else:
        answer = services.jobs.ask(trial_id)
        if not isinstance(answer, Ready):
            raise BadSetup("There are no blocks to change yet; wait until they are there and try again.")
        edits = _with_wish(edits, wish, answer.open_trial)
    services.store.change_setup(trial_id, replace(stored.setup, edits=edits), seen_version=wish.seen)


def _with_wish(edits: tuple[Edit, ...], wish: Wish, found: Any) -> tuple[Edit, ...]:
    blocks = blocks_of(found.report)
    at_s = wish.time_s("start", "start of the block")
    chosen = next((b for b in blocks if abs(b.start_s - at_s) < SAME_S), None)
    if chosen is None or wish.act not in (*_ACTS, "include"):
        raise BadSetup("The page asked for something that this trial does not have; reload it and try again.")
    if wish.act == "include":
        return without_exclusion(edits, chosen, blocks)
    entries = _ACTS[wish.act](wish, chosen, blocks)
    new = tuple(edit_from_dict(entry, None, name="The change") for entry in entries)
    if len(edits) + len(new) > MAX_EDITS:
        raise BadSetup(f"More than {MAX_EDITS} changes by hand are not kept; go back to automatic and start afresh.")
    try:
        apply_edits(consensus_of(found.trial), blocks, new)
    except UnfitEdit as problem:
        words = problem.reason(clock_text)
        raise BadSetup(words[:1].upper() + words[1:]) from None
    return (*edits, *new)


def _move(wish: Wish, block: Block, blocks: Sequence[Block]) -> list[dict[str, Any]]:
    to = wish.time_s("new-start", "new start"), wish.time_s("new-end", "new end")
    moves = [(block.start_s, to[0]), (block.end_s, to[1])]
    moves = [(old, new) for old, new in moves if abs(old - new) >= SAME_S]
    if not moves:
        raise BadSetup("Start and end are as they were; type another time, or drag an edge of the block strip.")
    if any(old in (blocks[0].start_s, blocks[-1].end_s) for old, _ in moves):
        raise BadSetup("The trial's own start and end cannot be moved; exclude a stretch instead, after splitting it off.")
    moves.sort(reverse=to[0] > block.start_s)  # a block that moves as a whole makes room in front of itself first
    return [{"action": "move-edge", "at_s": old, "to_s": new, **_reason(wish)} for old, new in moves]


def _split(wish: Wish, block: Block, blocks: Sequence[Block]) -> list[dict[str, Any]]:
    return [{"action": "split", "at_s": wish.time_s("split-at", "time to split at"), **_reason(wish)}]


def _split_interval(wish: Wish, block: Block, blocks: Sequence[Block]) -> list[dict[str, Any]]:
    edges = {b.start_s for b in blocks} | {blocks[-1].end_s}
    times = wish.time_s("from", "interval's start"), wish.time_s("to", "interval's end")
    cuts = [t for t in times if all(abs(t - edge) >= SAME_S for edge in edges)]
    if not cuts:
        raise BadSetup("There are edges at both ends of the interval already; select another interval on the overlay first.")
    return [{"action": "split", "at_s": t, **_reason(wish)} for t in cuts]


def _merge(wish: Wish, block: Block, blocks: Sequence[Block]) -> list[dict[str, Any]]:
    if block.id == blocks[-1].id:
        raise BadSetup("This is the last block; there is no next one to merge it with.")
    return [{"action": "merge", "at_s": block.end_s, **_reason(wish)}]


def _relabel(wish: Wish, block: Block, blocks: Sequence[Block]) -> list[dict[str, Any]]:
    name, kind = wish.text("name"), wish.text("kind")
    said = {"name": name} if name and name != block.name else {}
    said |= {"kind": kind} if kind and kind != block.kind else {}
    if not said:
        raise BadSetup("Name and kind are as they were; change one of them first.")
    return [{"action": "relabel", "at_s": block.start_s, **said, **_reason(wish)}]


def _exclude(wish: Wish, block: Block, blocks: Sequence[Block]) -> list[dict[str, Any]]:
    if not wish.text("reason"):
        raise BadSetup("Say why the block is left out; readers see the reason.")
    return [{"action": "exclude", "at_s": block.start_s, **_reason(wish)}]


_ACTS = {
    "move": _move, "split": _split, "split-interval": _split_interval, "merge": _merge, "relabel": _relabel, "exclude": _exclude,
}  # fmt: skip


def _reason(wish: Wish) -> dict[str, str]:
    return {"reason": wish.text("reason")} if wish.text("reason") else {}


def without_exclusion(edits: tuple[Edit, ...], block: Block, blocks: Sequence[Block]) -> tuple[Edit, ...]:
    """The edits with this block counting again. An exclusion moves no edge, so the others still apply.

    What the same exclusion leaves out besides, a block since split off, stays left out for the same reason.
    """
    if block.excluded_reason is None or not (gone := _excluding(edits, block)):
        raise BadSetup(f"{block.name} is not excluded; reload the page to see the blocks as they are.")
    others = [b for b in blocks if b is not block and b.excluded_reason is not None and set(_excluding(edits, b)) & set(gone)]
    again = tuple(Edit(action="exclude", at_s=b.start_s, reason=b.excluded_reason) for b in others)
    return (*(e for e in edits if e not in gone), *again)


def _excluding(edits: tuple[Edit, ...], block: Block) -> list[Edit]:
    """The exclusions by which a block is left out."""
    inside = [e for e in edits if e.action == "exclude" and block.start_s <= e.at_s < block.end_s]
    # excluded before it was split or moved: the one with its reason that lies nearest
    alike = [e for e in edits if e.action == "exclude" and e.reason == block.excluded_reason]
    return inside or sorted(alike, key=lambda e: abs(e.at_s - block.start_s))[:1]


def clock_change(setup: Setup, found: Any) -> float:
    """By how much the clock of the reference that a new set-up names begins later than the present one. [s]"""
    file = next((d.file for d in setup.devices if d.label == setup.reference), None)
    label = next((r["label"] for r in found.report["recordings"] if r["file"] == file), None)
    if label is None or label == found.report["reference"] or label not in found.trial.labels:
        return 0.0
    return float(round(found.trial.recording(label).time_s[0]))
