"""Where the blocks came from, for every reader: plan, changes by hand, and whether they were fixed before deltas were seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.history import ByHand, LogEntry
from app.wording import counted, day_and_time

SHORT_HASH = 12
CARRIED = "recordings, set-up, notes and the dates before that day are as the file gave them."
ELSEWHERE = "It says what this address has shown, not what was looked at elsewhere."


def provenance(report: Mapping[str, Any], hand: ByHand) -> html.Div:
    """Plan, edits and freezing in sentences, the lists folded."""
    lines: list[Any] = [html.P(sentence) for sentence in plan_sentences(report)]
    lines += [html.P(words, id="ridden-after") for words in [_plan_before(report, hand)] if words]
    lines.append(_edits(hand))
    if not (hand.blocks_first and report.get("frozen") is None):
        lines.append(html.P(frozen_words(report, hand.blocks_first), className="frozen-words"))
    if hand.carried_utc:
        lines.append(html.P(carried_words(hand.carried_utc), className="small"))
    return html.Div(lines, className="provenance", id="blocks-origin")


def plan_sentences(report: Mapping[str, Any]) -> list[str]:
    """Where the plan came from, and what of it was not ridden."""
    plan = report.get("plan") or {}
    steps = counted(plan.get("steps") or 0, "step")
    source = {
        "setup": f"The ride plan of the set-up ({steps}) gave the blocks their names.",
        "workout": f"A workout in the file of {plan.get('recording')} ({steps}) gave the blocks their names.",
        "laps": f"The laps in the file of {plan.get('recording')} ({plan.get('steps')}) gave the blocks their names.",
    }.get(plan.get("source") or "", "No ride plan came with the trial; the blocks are named after what they are.")
    if not plan.get("source"):
        return [source]
    return [source, *_found(plan)]


def _found(plan: Mapping[str, Any]) -> list[str]:
    """How much of what the plan asks for was ridden, in which order."""
    missed, elsewhere, off = (plan.get(key) or () for key in ("not_ridden", "elsewhere", "off_target"))
    asked = plan.get("asked") or 0
    said = []
    if asked:
        what = "hold or effort" if asked == 1 else "holds and efforts"
        there = asked - len(missed) - len(elsewhere) - len(off)
        said.append(f"It asks for {asked} {what}; {there} of them were ridden as planned and in its order.")
    said += [f"Ridden in another order than planned: {', '.join(elsewhere)}."] if elsewhere else []
    said += [f"Held at another power than planned: {', '.join(off)}."] if off else []
    return [*said, f"Planned but not ridden: {', '.join(missed)}."] if missed else said


def _plan_before(report: Mapping[str, Any], hand: ByHand) -> list[Any]:
    """Whether the plan came before the ride; nothing is claimed of a plan whose steps were changed, or that came after."""
    frozen = (report.get("plan") or {}).get("frozen")
    if frozen is None:
        return []
    code = html.Code(frozen["sha256"][:SHORT_HASH] + "…", title=frozen["sha256"])
    when = html.Time(day_and_time(frozen["frozen_utc"]), dateTime=frozen["frozen_utc"])
    plan = ["the ride plan" if hand.plan_path is None else html.A("the ride plan", href=hand.plan_path), " frozen on ", when,
            " (SHA-256 ", code, ")"]  # fmt: skip
    if not frozen["same_steps"]:
        return ["The set-up names ", *plan, ", but its steps were changed after that, so this trial does not follow it."]
    if frozen["came_first"] is False:
        return ["The set-up follows ", *plan, ", which is after the ride began by its recordings: the plan did not come first."]
    clock = "" if frozen["came_first"] else " The recordings bear no date, so that the plan came first cannot be shown."
    if hand.plan_seen:
        return ["Ridden after ", *plan, f"; its steps are still those.{clock}"]
    unseen = "" if hand.plan_seen is None else " This server has not frozen that plan itself."
    return ["The set-up says: ridden after ", *plan, f".{unseen}{clock}"]


def frozen_words(report: Mapping[str, Any], blocks_first: bool) -> list[Any]:
    """Whether the blocks were fixed before anyone saw a delta, and whether they still are those."""
    frozen = report.get("frozen")
    if frozen is None:
        return ["The blocks were not frozen before the deltas were shown."]
    code = html.Code(frozen["hash"][:SHORT_HASH] + "…", title=frozen["hash"])
    when = html.Time(day_and_time(frozen["date"]) or "a date not stated", dateTime=frozen["date"] or "")
    if frozen["matches"]:
        still = "The blocks on this page are still those."
    else:
        still = "They were changed since: the blocks on this page are no longer those."
    if blocks_first:
        return ["The blocks were frozen on ", when, " before the deltas were shown (hash ", code, f"). {still} {ELSEWHERE}"]
    return ["The set-up says that the blocks were frozen on ", when, " (hash ", code, f"). {still}"]


def carried_words(utc: str) -> list[Any]:
    """That this server did not see what is older than the day on which the trial came."""
    when = html.Time(day_and_time(utc), dateTime=utc)
    return ["This trial was made elsewhere and brought here as a file on ", when, f"; {CARRIED}"]


def _edits(hand: ByHand) -> Any:
    if not hand.edits and not hand.log:
        return html.P("The blocks are as found from the recordings; none was edited by hand.")
    head = f"Edited by hand: {counted(len(hand.edits), 'change')}" if hand.edits else "Edited by hand: nothing that counts now"
    children: list[Any] = [html.Summary(head)]
    if hand.edits:
        children.append(_list(hand.edits))
    if [e.words for e in hand.log] != [e.words for e in hand.edits]:
        children += [html.P("All that the owner did, in order:", className="small"), _list(hand.log)]
    return html.Details(children, className="hand-list", open=bool(hand.edits), id="edited-by-hand")


def _list(entries: Sequence[LogEntry]) -> html.Ol:
    return html.Ol(
        [html.Li([entry.words, html.Time(day_and_time(entry.utc), dateTime=entry.utc, className="small")]) for entry in entries]
    )
