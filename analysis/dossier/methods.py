"""What was really done, as text for a page or a paper: written from the digests and the set-ups, nothing assumed.

Also the reporting checklist for agreement studies (GRRAS: Kottner et al., J Clin Epidemiol 2011;64:96-106; its fifteen items in
our own words, numbering from memory), filled where the dossier knows, its blanks named where it does not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.dossier.document import Dossier, TrialEntry
from analysis.dossier.standing import Stand
from analysis.numerals import count

WITHIN = (
    "A delta is device minus reference, as a ratio of mean powers over the seconds that both recordings cover. Its interval "
    "within a block allows for neighbouring seconds being alike (five-second means as an AR(1) with its bias corrected); over "
    "the blocks of a trial the blocks are the repeats"
)
ACROSS = "; over trials the trials are (random effects, REML, interval after Hartung and Knapp"
PREDICTED = ", prediction interval after Higgins et al. 2009"
ALLOWED = (
    "The allowance adds both claims and the range of drivetrain loss, each at its worst; a delta is within or outside it only "
    "with its whole 95 % interval, else unsettled."
)
CLOCKS = {"heart_rate": "heart rate", "manual": "hand"}


@dataclass(frozen=True, kw_only=True)
class Item:
    """One item of the checklist: number, what it asks, what is known of it; `blank` names what the reviewer still has to say."""

    number: int
    asks: str
    known: str
    blank: str


def methods_text(dossier: Dossier) -> tuple[str, ...]:
    """Paragraphs, in the order of a methods section."""
    trials = dossier.trials
    if not trials:
        return ("No trial has been ridden yet.",)
    return tuple(p for p in (_subject(dossier), _rides(trials), _clocks_and_blocks(trials), statistics_text(trials)) if p)


def statistics_text(trials: Sequence[TrialEntry]) -> str:
    """What was reckoned: one trial is not pooled, two have no prediction interval."""
    across = f"{ACROSS}{PREDICTED if len(trials) > 2 else ''})" if len(trials) > 1 else ""
    return f"{WITHIN}{across}. {ALLOWED}"


def checklist_of(dossier: Dossier, stand: Stand) -> tuple[Item, ...]:
    """The fifteen items; what the reviewer answered (`dossier.answers`, by number) comes before what is known by itself."""
    given = dossier.answers or {}
    return tuple(
        Item(number=i, asks=asks, known=given.get(str(i)) or known, blank="" if known or given.get(str(i)) else blank)
        for i, (asks, known, blank) in enumerate((*_before(dossier), *_after(dossier, stand)), start=1)
    )


def _before(dossier: Dossier) -> tuple[tuple[str, str, str], ...]:
    """Items 1 to 9: what was studied and how."""
    trials, frozen = dossier.trials, _frozen(dossier.trials)
    return (
        ("the title says that agreement was studied", dossier.title, ""),
        ("the device is named and described", _subject(dossier), ""),
        ("the conditions it is meant for", "", "For which riders, powers and cadences is it meant?"),
        ("who measured", _named({t.rider for t in trials if t.rider}, "rider"), "Who rode?"),
        ("what was known before", "", "What have others found of this device, and why was it tested again?"),
        ("why this many trials", "", "Why this many trials and blocks? The forecast of the ride plan can be quoted."),
        ("how units and riders were chosen", "", f"How was the unit chosen? {_obtained(dossier)}"),
        ("how it was measured: plan, order, blinding", _rides(trials) if frozen else "",
         "What was done so that nobody chose blocks after seeing the deltas?"),
        ("whether readings were independent", _independence(trials), "There is no trial yet."),
    )  # fmt: skip


def _after(dossier: Dossier, stand: Stand) -> tuple[tuple[str, str, str], ...]:
    """Items 10 to 15: what came out."""
    trials = dossier.trials
    holds, excluded = sum(t.digest["ridden"]["holds"] for t in trials), sum(t.digest["excluded_blocks"] for t in trials)
    used = f"{_n(trials)}, {count(holds, 'held block')}, {count(excluded, 'block')} excluded" if trials else ""
    return (
        ("the statistics", statistics_text(trials) if trials else "", "There is no trial yet."),
        ("how many were used", used, "There is no trial yet."),
        ("rider and rig", _named({t.rig for t in trials if t.rig}, "rig"), "Bike, gear, chain, trainer mode, room?"),
        ("estimates with their uncertainty", stand.headline if trials else "", "There is no trial yet."),
        ("what it means in practice", dossier.conclusion or "", "What does a difference of this size mean for a rider?"),
        ("detailed results", "The data package holds them." if trials else "", "There is no trial yet."),
    )


def _subject(dossier: Dossier) -> str:
    device = dossier.device
    point = f", which measures at the {device.point}" if device.point else ""
    claim = "Its maker's claim is not stated here." if device.claim_pct is None else f"Its maker claims ±{device.claim_pct:g} %."
    return f"The device under review is {device.name}{point}. {claim} {_obtained(dossier)}"


def _obtained(dossier: Dossier) -> str:
    device = dossier.device
    how = "How it was obtained is not stated" if device.obtained == "not stated" else f"It was {device.obtained}"
    note = f" ({device.obtained_note})" if device.obtained_note else ""
    price = f" Its price was {_amount(device.price)} {device.currency or ''}".rstrip() + "." if device.price is not None else ""
    return f"{how}{note}.{price}"


def _amount(price: float) -> str:
    return f"{price:.0f}" if price == round(price) else f"{price:.2f}"


def _rides(trials: Sequence[TrialEntry]) -> str:
    if not trials:
        return ""
    days = sorted(day for t in trials if (day := t.day or (t.digest["start_utc"] or "")[:10]))
    when = "on days that are not stated"
    if days:
        when = f"on {days[0]}" if days[0] == days[-1] else f"between {days[0]} and {days[-1]}"
    who = _named({t.rider for t in trials if t.rider}, "rider")
    versions = ", ".join(dict.fromkeys(t.digest["firmware"] for t in trials if t.digest["firmware"]))
    outdoors = sum(t.where == "outdoors" for t in trials)
    said = [f"{_n(trials)} ridden {when}{f' by {who}' if who else ''}; {outdoors or 'none'} outdoors."]
    said += [f"Firmware of the device: {versions}."] if versions else []
    held = [t.digest["ridden"]["power_w"] for t in trials if t.digest["ridden"]["power_w"]]
    if held:
        said.append(f"Power was held between {min(low for low, _ in held):.0f} and {max(high for _, high in held):.0f} W.")
    planned = sum(t.digest["plan"] is not None for t in trials)
    first = sum(_plan_first(t.digest.get("plan_frozen")) for t in trials)
    said.append(
        f"{planned or 'None'} followed a plan{f', {first} of them one that was frozen before the ride' if planned else ''}; in "
        f"{_frozen(trials) or 'none'} the blocks were frozen before any delta was shown."
    )
    return " ".join(said)


def _plan_first(frozen: Mapping[str, Any] | None) -> bool:
    """A plan whose steps were changed later, or that was frozen once the ride had begun, came first in nothing."""
    return frozen is not None and frozen["same_steps"] and frozen["came_first"] is True


def _clocks_and_blocks(trials: Sequence[TrialEntry]) -> str:
    points = {(t.digest["reference"], t.digest["reference_point"] or "measuring point not stated") for t in trials}
    references = ", ".join(label if label == point else f"{label} ({point})" for label, point in sorted(points))
    edited, excluded = (sum(t.digest[key] for t in trials) for key in ("edited_blocks", "excluded_blocks"))
    versions = ", ".join(sorted({str(t.digest["version"]) for t in trials}))
    return (
        f"Recordings were put on the clock of the reference ({references}){_clocks(trials)}, and cut into blocks from all of "
        f"them together; {count(edited, 'block')} edited by hand, {excluded or 'none'} excluded with a reason. "
        f"Analysis version {versions}."
    )


def _clocks(trials: Sequence[TrialEntry]) -> str:
    """By which signal the device's clock was found, and in how many trials."""
    known = [clock for t in trials if (clock := t.digest.get("clock"))]
    counts = Counter(CLOCKS.get(c["via"], c["via"]) for c in known)
    open_clocks = sum(not c["settled"] for c in known)
    said = ", ".join(f"{via} in {n}" for via, n in counts.most_common())
    unsure = f"; in {open_clocks} the shift was not settled" if open_clocks else ""
    return f", the device's by {said}{unsure}" if said else " by the signals that they share"


def _independence(trials: Sequence[TrialEntry]) -> str:
    if not trials:
        return ""
    three = sum(t.digest["devices"] >= 3 for t in trials)
    return f"Devices recorded at the same time on one bike; in {three} of {_n(trials)} a third one shows whose a delta is."


def _frozen(trials: Sequence[TrialEntry]) -> int:
    return sum(t.digest["frozen"] is not None for t in trials)


def _named(names: set[str], what: str) -> str:
    return f"{count(len(names), what)} ({', '.join(sorted(names))})" if names else ""


def _n(trials: Sequence[TrialEntry]) -> str:
    return count(len(trials), "trial")
