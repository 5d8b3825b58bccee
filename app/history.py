"""A trial's versions of its set-up -> what was changed by hand, when, in plain words. Pure; the one who changes is its owner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from analysis.edits import Edit
from app.store import SetupVersion
from app.wording import clock_text

KIND_WORDS = {"steady": "held power", "transient": "surge, sprint or step", "free": "riding along", "idle": "not pedalling"}


@dataclass(frozen=True, kw_only=True)
class LogEntry:
    """One act of the owner: when (UTC, ISO 8601) and what."""

    utc: str
    words: str


@dataclass(frozen=True, kw_only=True)
class ByHand:
    """What was done to a trial's blocks by hand: edits that count now, each with its moment; everything ever done.

    carried_utc : when the trial was brought here as a file, so that what is older is that file's word.
    plan_seen : whether this server itself froze the plan that the set-up names, with that hash, moment and steps (None: not
    asked of a server); plan_path : where it is kept.
    """

    edits: tuple[LogEntry, ...] = ()
    log: tuple[LogEntry, ...] = ()
    blocks_first: bool = False
    version: int = 0
    carried_utc: str | None = None
    plan_seen: bool | None = None
    plan_path: str | None = None
    present: tuple[Edit, ...] = field(default=(), repr=False)


def by_hand(versions: Sequence[SetupVersion], *, blocks_first: bool = False, carried_utc: str | None = None) -> ByHand:
    """The edits of the newest version, with the time at which each was made, and the log."""
    log: list[LogEntry] = []
    made: list[tuple[Edit, str]] = []
    frozen = None
    for one in versions:
        log += [LogEntry(utc=one.created_utc, words=words) for words in _changes([e for e, _ in made], one.setup.edits)]
        made = _kept(made, one.setup.edits, one.created_utc)
        if one.setup.frozen_hash != frozen and one.setup.frozen_hash is not None:
            log.append(LogEntry(utc=one.created_utc, words=f"blocks frozen (hash {one.setup.frozen_hash[:12]}…)"))
        frozen = one.setup.frozen_hash
    return ByHand(
        edits=tuple(LogEntry(utc=utc, words=words_of(edit)) for edit, utc in made), log=tuple(log),
        blocks_first=blocks_first, carried_utc=carried_utc, version=versions[-1].version if versions else 0,
        present=tuple(e for e, _ in made),
    )  # fmt: skip


def before_last_press(versions: Sequence[SetupVersion]) -> tuple[Edit, ...]:
    """The edits as they were before the owner's last press that still counts, on the clock of the newest version.

    A press that gives back the edits of before takes its predecessor back; edits that came with the set-up are single presses.
    """
    first = versions[0].setup.edits if versions else ()
    states = [first[:n] for n in range(len(first) + 1)]
    for one in versions[1:]:
        now, by_s = one.setup.edits, _moved_by(states[-1], one.setup.edits)
        if by_s:
            states = [carried(state, by_s) for state in states]
        elif len(states) > 1 and now == states[-2]:
            states.pop()
        elif now != states[-1]:
            states.append(now)
    return states[-2] if len(states) > 1 else ()


def carried(edits: Sequence[Edit], by_s: float) -> tuple[Edit, ...]:
    """The edits on a clock that begins `by_s` later."""
    return tuple(replace(e, at_s=e.at_s - by_s, to_s=None if e.to_s is None else e.to_s - by_s) for e in edits)


def _moved_by(before: Sequence[Edit], after: Sequence[Edit]) -> float:
    """By how much the clock begins later where the same edits stand on another one; zero for any other change. [s]"""
    if not before or len(before) != len(after):
        return 0.0
    by_s = before[0].at_s - after[0].at_s
    return by_s if carried(before, by_s) == tuple(after) else 0.0


def words_of(edit: Edit) -> str:
    """`edge at 6:02 moved to 6:05`, with the reason where one was given."""
    at = clock_text(edit.at_s)
    if edit.action == "relabel":
        said = [f"called “{edit.name}”"] if edit.name else []
        said += [f"taken as {KIND_WORDS[edit.kind]}"] if edit.kind else []
        words = f"block at {at} {' and '.join(said)}"
    else:
        words = {
            "move-edge": f"edge at {at} moved to {clock_text(edit.to_s or 0.0)}",
            "split": f"block split at {at}",
            "merge": f"blocks before and after {at} merged",
            "exclude": f"block at {at} excluded",
        }[edit.action]
    return f"{words}: {edit.reason}" if edit.reason else words


def _changes(before: Sequence[Edit], after: Sequence[Edit]) -> list[str]:
    """What turned one list of edits into the next."""
    before, after = list(before), list(after)
    if before == after:
        return []
    if after[: len(before)] == before:
        return [words_of(edit) for edit in after[len(before) :]]
    if not after and len(before) > 1:
        return [f"back to automatic: {len(before)} changes taken back"]
    if _moved_by(before, after):
        return ["the changes were put on another reference's clock"]
    gone, come = _gone_and_come(before, after)
    return [f"taken back: {words_of(edit)}" for edit in gone] + [words_of(edit) for edit in come]


def _gone_and_come(before: Sequence[Edit], after: Sequence[Edit]) -> tuple[list[Edit], list[Edit]]:
    """What is no longer in its place, and what is new behind it; an edit that was taken back and made again is both."""
    kept, come, at = set(), [], 0
    for edit in after:
        found = next((i for i in range(at, len(before)) if before[i] == edit), None)
        if found is None:
            come.append(edit)
        else:
            kept.add(found)
            at = found + 1
    return [edit for i, edit in enumerate(before) if i not in kept], come


def _kept(made: Sequence[tuple[Edit, str]], now: Sequence[Edit], utc: str) -> list[tuple[Edit, str]]:
    """Each present edit with the time at which it was made; what was there before keeps its own."""
    if _moved_by([edit for edit, _ in made], now):
        return [(edit, when) for edit, (_, when) in zip(now, made, strict=True)]
    left, out = list(made), []
    for edit in now:
        known = next((pair for pair in left if pair[0] == edit), None)
        if known:
            left.remove(known)
        out.append(known or (edit, utc))
    return out
