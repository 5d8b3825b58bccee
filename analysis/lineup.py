"""Who takes part: recordings with their labels and what the set-up says of them, the reference first; and their trial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.aligning import Alignment
from analysis.errors import BadSetup, NotOneRide, SameRecording, UnusableRecording
from analysis.evidence import Declared
from analysis.plan import Plan, PlanMatch
from analysis.reading.choosing import choose_power
from analysis.reading.recording import Recording
from analysis.setup import DEFAULT_CLAIM_PCT, DeviceSetup, Setup
from analysis.trial import AlignedRecording, Trial
from analysis.watching import same_source

# Two recordings must share at least this much to be compared at all. [s]
MIN_COMMON_S = 60.0


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A recording with its label and what the set-up says of it."""

    label: str
    recording: Recording
    said: DeviceSetup


def line_up(recordings: Sequence[Recording], setup: Setup) -> tuple[Entry, ...]:
    """Match recordings to the set-up, reference first. Raises where the set-up or the files do not fit together."""
    if len(recordings) < 2:
        have = recordings[0].name if recordings else "nothing"
        raise NotOneRide(f"A comparison needs at least two recordings of one ride; got {have}. Add the file of a second device.")
    seen: dict[str, str] = {}
    for r in recordings:
        if r.sha256 in seen:
            raise SameRecording(f"{r.name} is the same recording as {seen[r.sha256]}; leave one of them out.")
        seen[r.sha256] = r.name
    for r in recordings:
        if "power_w" not in r.channels:
            raise UnusableRecording(f"{r.name} holds no power, so it cannot be compared; leave it out or export it with power.")
    entries = []
    for r in recordings:
        said = _said_of(r, setup)
        label = said.label or r.facts.get("label_guess") or r.name
        entries.append(Entry(label=label, recording=choose_power(r, said.power), said=said))
    entries = _distinct(entries)
    unknown = [d for d in setup.devices if d.file is not None and d.file not in {r.name for r in recordings}]
    if unknown:
        raise BadSetup(
            f"The set-up speaks of file {unknown[0].file!r}, which was not given; "
            f"the files are {', '.join(r.name for r in recordings)}."
        )
    return tuple(_reference_first(entries, setup))


def _said_of(recording: Recording, setup: Setup) -> DeviceSetup:
    guess = recording.facts.get("label_guess")
    by_file = next((d for d in setup.devices if d.file == recording.name), None)
    by_label = next((d for d in setup.devices if d.file is None and d.label in (guess, recording.name)), None)
    return by_file or by_label or DeviceSetup(file=recording.name)


def _distinct(entries: Sequence[Entry]) -> list[Entry]:
    """Labels told apart by a number where two recordings would have the same."""
    out: list[Entry] = []
    for one in entries:
        label, n = one.label, 2
        while label in {o.label for o in out}:
            label, n = f"{one.label} {n}", n + 1
        out.append(replace(one, label=label))
    return out


def _reference_first(entries: Sequence[Entry], setup: Setup) -> Sequence[Entry]:
    if setup.reference is None:
        return entries
    chosen = next((n for n in entries if setup.reference in (n.label, n.recording.name)), None)
    if chosen is None:
        raise BadSetup(
            f"The reference {setup.reference!r} is none of the recordings; they are {', '.join(n.label for n in entries)}."
        )
    return [chosen, *(n for n in entries if n is not chosen)]


def trial_of(entries: Sequence[Entry], alignments: Sequence[Alignment], setup: Setup) -> Trial:
    """The recordings on the reference's clock. Raises NotOneRide where one shares too little time with the reference."""
    zero = entries[0].recording.start_s
    aligned = []
    for one, alignment in zip(entries, alignments, strict=True):
        frame = one.recording.samples
        time_s = alignment.to_reference(frame["time_s"].to_numpy(float)) - zero
        placed = np.isfinite(time_s)
        aligned.append(
            AlignedRecording(
                label=one.label,
                point=one.said.point or one.recording.facts.get("point_guess"),
                claim_pct=DEFAULT_CLAIM_PCT if one.said.claim_pct is None else one.said.claim_pct,
                interval_s=one.recording.interval_s,
                time_s=time_s[placed],
                channels={c: frame[c].to_numpy(float)[placed] for c in one.recording.channels},
            )
        )
    adrift = tuple(a.label for a in alignments if not a.settled)
    trial = Trial(
        recordings=tuple(aligned), loss_pct=setup.loss_pct, start_utc=entries[0].recording.start_utc, adrift=adrift
    )  # fmt: skip
    trial = replace(trial, same_source=same_source(trial, [one.recording.facts for one in entries]))
    for one in entries[1:]:
        common = float(trial.pair(one.label).covered_s[-1])
        if common < MIN_COMMON_S:
            raise NotOneRide(
                f"{one.recording.name} and {entries[0].recording.name} share only {common:.0f} s with power, "
                f"{MIN_COMMON_S:.0f} s are needed; leave one out, or correct its shift_s."
            )
    return trial


def declared(one: Entry) -> Declared:
    """What the set-up says, else what the file says."""
    settings = one.recording.facts.get("settings") or {}
    return Declared(
        sides=one.said.sides, firmware=one.said.firmware, crank_length_mm=settings.get("crank_length_mm"),
        power_scale_pct=settings.get("power_scale_pct"),
    )  # fmt: skip


def title_of(entries: Sequence[Entry]) -> str:
    """A title for a trial that was given none."""
    start = entries[0].recording.start_utc
    others = ", ".join(n.label for n in entries[1:])
    return f"{others} against {entries[0].label}" + (f", {start[:10]}" if start else "")


def warnings_of(
    trial: Trial, entries: Sequence[Entry], alignments: Sequence[Alignment], plan: PlanMatch, planned: Plan
) -> tuple[str, ...]:
    """What a reviewer should know of the trial as a whole, one sentence each."""
    found = [
        f"{a} and {b} carry one sensor's values, so no verdict is given between them: one sensor cannot be its own referee."
        for a, b in trial.same_source
    ]
    points = list(zip(entries, (r.point for r in trial.recordings), strict=True))
    for labels, sentence in (
        (
            [e.label for e in entries if e.said.claim_pct is None],
            f"No claim is stated for {{}}; ±{DEFAULT_CLAIM_PCT:g} % is assumed.",
        ),
        (
            [e.label for e, point in points if point is None],
            "It is not stated where on the bike power is measured for {}; such an allowance covers either side of the chain.",
        ),
        (
            [f"{e.label} ({point})" for e, point in points if point is not None and e.said.point is None],
            "Where it measures is guessed from the file for {}; say so in the set-up if that is wrong.",
        ),
    ):
        if labels:
            found.append(sentence.format(" and ".join(filter(None, [", ".join(labels[:-1]), labels[-1]]))))
    found += [f"{a.label}: {a.note}" for a in alignments if not a.settled]
    if planned.source != "laps" and plan.not_ridden:
        found.append(f"Planned but not found in the ride: {', '.join(s.name for s in plan.not_ridden)}.")
    if planned.source != "laps" and plan.elsewhere:
        found.append(f"Ridden in another order than planned: {', '.join(s.name for s in plan.elsewhere)}.")
    return tuple(found)
