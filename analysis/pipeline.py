"""The only place that calls the rooms in order: recordings and a set-up in, one immutable result out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.agreement import agreement_of, noise_of
from analysis.aligning import Alignment
from analysis.bests import bests_of
from analysis.blocks import Block, find_blocks
from analysis.causes import find_causes, pieces_of, weigh
from analysis.consensus import Consensus, consensus_of
from analysis.consistency import Clocked, align_all
from analysis.curves import curves_of
from analysis.describing import described
from analysis.editing import apply_edits
from analysis.errors import BadSetup, NotOneRide, SameRecording, UnusableRecording
from analysis.evidence import Declared, Evidence, Finding
from analysis.findings import findings_of, hypotheses
from analysis.freezing import blocks_hash, frozen_state
from analysis.hypotheses import Hypothesis
from analysis.judging import JudgedDelta, LevelDelta, judge_levels, judge_pooled, judge_stretch, random_effects
from analysis.kinetic import stored_in_blocks
from analysis.pedalling import mean_left_share, pedalling_of
from analysis.plan import Plan, PlanMatch, match_plan, plan_of
from analysis.reading.choosing import choose_power
from analysis.reading.recording import Recording
from analysis.report import Comparison, utc
from analysis.response import Response, response_of
from analysis.sensitivity import Sensitivity, sensitivity_of, settled
from analysis.setup import DEFAULT_CLAIM_PCT, DeviceSetup, Setup
from analysis.sprints import sprints_of
from analysis.trial import AlignedRecording, Trial
from analysis.watching import dropouts, same_source, stuck
from analysis.windows import with_windows
from analysis.wording import headline, second_sentence

Progress = Callable[[str, float], None]
SUMMARY_KINDS = ("steady", "transient", "free", "all")
# Two recordings must share at least this much to be compared at all. [s]
MIN_COMMON_S = 60.0


@dataclass(frozen=True, kw_only=True)
class _Named:
    """A recording with its label and what the set-up says of it."""

    label: str
    recording: Recording
    said: DeviceSetup


def compare(recordings: Sequence[Recording], setup: Setup | None = None, *, progress: Progress | None = None) -> Comparison:
    """Align, cut into blocks, take deltas, hold them against the allowance, explain.

    Parameters
    ----------
    recordings : two or more of one ride, in any order; the first is the reference unless the set-up names another.
    progress : called with a stage in plain words and the share done, 0 to 1.

    Raises
    ------
    NotOneRide, SameRecording, UnusableRecording, BadSetup
        One sentence each, naming the file or the key.
    """
    setup = setup or Setup()
    tell = progress or (lambda stage, done: None)
    tell("checking the recordings", 0.0)
    named = _named(recordings, setup)
    alignments, misfits = align_all(
        [Clocked(label=n.label, recording=n.recording, by_hand_s=n.said.shift_s) for n in named],
        progress=lambda label, i: tell(f"aligning the clock of {label}", 0.05 + 0.35 * i / len(named)),
    )
    trial = _trial(named, alignments, setup)
    tell("finding the blocks", 0.45)
    consensus = consensus_of(trial)
    planned = plan_of(setup.plan, [(n.label, n.recording.facts) for n in named])
    plan = match_plan(consensus, find_blocks(consensus), planned.steps)
    blocks = with_windows(described(trial, apply_edits(consensus, plan.blocks, setup.edits)))
    counted = tuple(b for b in blocks if b.excluded_reason is None)
    tell("taking deltas", 0.55)
    deltas = tuple((b.id, judge_stretch(trial, d.label, b.interior_start_s, b.interior_end_s))
                   for b in blocks if b.kind != "gap" for d in trial.devices)  # fmt: skip
    summary = tuple((kind, judged) for d in trial.devices for kind, judged in _summaries(trial, d.label, counted))
    summary, sensitivity = _weighed(trial, counted, summary)
    tell("measuring the response", 0.75)
    response = tuple(response_of(trial, counted, a) for a in alignments[1:])
    noise = noise_of(trial, counted)
    agreement = tuple(agreement_of(trial, n.label, counted, n) for n in noise[1:])
    bests = tuple(bests_of(trial, r.label, lag_s=r.lag_s) for r in response)
    tell("explaining the differences", 0.9)
    findings, weighed = _findings(trial, named, counted, consensus, summary, alignments[1:], response)
    held = {b.id for b in counted if b.kind == "steady"}
    now = blocks_hash(blocks, setup.edits, setup.plan)
    judged = [(d.label, *_headline_summary(d.label, summary)) for d in trial.devices]
    scope = "One unit of each, one rig, one ride."
    return Comparison(
        setup=setup,
        title=setup.title or _default_title(named),
        headline=headline(trial.reference, judged, findings),
        second_sentence=second_sentence(findings, scope),
        trial=trial,
        recordings=tuple(n.recording for n in named),
        alignment=alignments,
        blocks=blocks,
        deltas=deltas,
        summary=summary,
        response=response,
        agreement=agreement,
        noise=noise,
        findings=findings,
        bests=bests,
        hypotheses=weighed,
        curves=tuple(c for d in trial.devices for c in curves_of(trial, d.label, counted)),
        pedalling=pedalling_of(trial, counted),
        sprints=tuple(sprints_of(trial, counted, r) for r in response),
        stored=stored_in_blocks(trial, blocks),
        levels=tuple(level for d in trial.devices for level in judge_levels(trial, d.label, counted)),
        random_effects={d.label: random_effects([j for b, j in deltas if j.label == d.label and b in held])
                        for d in trial.devices},
        sensitivity=sensitivity,
        plan=planned,
        not_ridden=tuple(s.name for s in plan.not_ridden),
        blocks_hash=now,
        frozen=frozen_state(setup.frozen_hash, setup.frozen_utc, now),
        warnings=(*_warnings(trial, named, alignments, plan, planned), *misfits),
    )  # fmt: skip


def deltas_between(trial: Trial, device: str, other: str, blocks: Sequence[Block]) -> tuple[tuple[str, JudgedDelta], ...]:
    """Any device against any other, block by block; `reference_*` and every percent are of `other`.

    Raises
    ------
    OutOfRange
        A label that the trial does not have.
    """
    ridden = (b for b in blocks if b.kind != "gap")
    return tuple((b.id, judge_stretch(trial, device, b.interior_start_s, b.interior_end_s, against=other)) for b in ridden)


def levels_between(trial: Trial, device: str, other: str, blocks: Sequence[Block]) -> tuple[LevelDelta, ...]:
    """Any device against any other, by level of the held blocks. Raises OutOfRange for an unknown label."""
    return judge_levels(trial, device, blocks, against=other)


def _named(recordings: Sequence[Recording], setup: Setup) -> list[_Named]:
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
    named = []
    for r in recordings:
        said = _said_of(r, setup)
        label = said.label or r.facts.get("label_guess") or r.name
        named.append(_Named(label=label, recording=choose_power(r, said.power), said=said))
    named = _distinct(named)
    unknown = [d for d in setup.devices if d.file is not None and d.file not in {r.name for r in recordings}]
    if unknown:
        raise BadSetup(
            f"The set-up speaks of file {unknown[0].file!r}, which was not given; "
            f"the files are {', '.join(r.name for r in recordings)}."
        )
    return _reference_first(named, setup)


def _said_of(recording: Recording, setup: Setup) -> DeviceSetup:
    guess = recording.facts.get("label_guess")
    by_file = next((d for d in setup.devices if d.file == recording.name), None)
    by_label = next((d for d in setup.devices if d.file is None and d.label in (guess, recording.name)), None)
    return by_file or by_label or DeviceSetup(file=recording.name)


def _distinct(named: list[_Named]) -> list[_Named]:
    """Labels told apart by a number where two recordings would have the same."""
    out: list[_Named] = []
    for one in named:
        label, n = one.label, 2
        while label in {o.label for o in out}:
            label, n = f"{one.label} {n}", n + 1
        out.append(replace(one, label=label))
    return out


def _reference_first(named: list[_Named], setup: Setup) -> list[_Named]:
    if setup.reference is None:
        return named
    chosen = next((n for n in named if setup.reference in (n.label, n.recording.name)), None)
    if chosen is None:
        raise BadSetup(
            f"The reference {setup.reference!r} is none of the recordings; they are {', '.join(n.label for n in named)}."
        )
    return [chosen, *(n for n in named if n is not chosen)]


def _trial(named: list[_Named], alignments: Sequence[Alignment], setup: Setup) -> Trial:
    zero = named[0].recording.start_s
    aligned = []
    for one, alignment in zip(named, alignments, strict=True):
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
    trial = Trial(recordings=tuple(aligned), loss_pct=setup.loss_pct, start_utc=utc(named[0].recording))
    trial = replace(trial, same_source=same_source(trial, [one.recording.facts for one in named]))
    for one in named[1:]:
        common = float(trial.pair(one.label).covered_s[-1])
        if common < MIN_COMMON_S:
            raise NotOneRide(
                f"{one.recording.name} and {named[0].recording.name} share only {common:.0f} s with power, "
                f"{MIN_COMMON_S:.0f} s are needed; leave one out, or correct its shift_s."
            )
    return trial


def _summaries(trial: Trial, label: str, blocks: Sequence[Block]) -> list[tuple[str, JudgedDelta]]:
    """Per kind that the ride holds, and over all that was ridden; blocks are the replicates."""
    found = []
    for kind in SUMMARY_KINDS:
        chosen = [b for b in blocks if b.kind == kind or (kind == "all" and b.kind != "gap")]
        if chosen:
            inner = [(b.start_s, b.end_s) if kind == "all" else (b.interior_start_s, b.interior_end_s) for b in chosen]
            found.append((kind, judge_pooled(trial, label, inner)))
    return found


def _weighed(
    trial: Trial, blocks: Sequence[Block], summary: Sequence[tuple[str, JudgedDelta]]
) -> tuple[tuple[tuple[str, JudgedDelta], ...], tuple[Sensitivity, ...]]:
    """The summary with every verdict on held power withdrawn that hangs on the trims, and how far each delta moves with them."""
    held = [b for b in blocks if b.kind == "steady"]
    moved = {judged.label: sensitivity_of(trial, held, judged) for kind, judged in summary if kind == "steady"}
    weighed = ((kind, settled(judged, moved[judged.label]) if kind == "steady" else judged) for kind, judged in summary)
    return tuple(weighed), tuple(moved.values())


def _findings(
    trial: Trial,
    named: Sequence[_Named],
    blocks: Sequence[Block],
    consensus: Consensus,
    summary: Sequence[tuple[str, JudgedDelta]],
    alignments: Sequence[Alignment],
    response: Sequence[Response],
) -> tuple[tuple[Finding, ...], tuple[Hypothesis, ...]]:
    found: list[Finding] = []
    weighed: list[Hypothesis] = []
    stored, declared = stored_in_blocks(trial, blocks), {n.label: _declared(n) for n in named}
    for alignment, answer in zip(alignments, response, strict=True):
        label = alignment.label
        pieces = pieces_of(trial, label, blocks)
        seen = Evidence(
            label=label, by_kind={kind: d for kind, d in summary if d.label == label}, causes=find_causes(pieces),
            response=answer, alignment=alignment, dropouts=dropouts(trial, label, consensus), stuck=stuck(trial, label),
            stored=stored, weighed=weigh(pieces), declared=declared, left_share=mean_left_share(trial, without=label),
        )  # fmt: skip
        own = findings_of(trial, seen)
        found += own
        weighed += hypotheses(seen, own)
    return tuple(found), tuple(weighed)


def _declared(one: _Named) -> Declared:
    """What the set-up says, else what the file says."""
    settings = one.recording.facts.get("settings") or {}
    return Declared(
        sides=one.said.sides, firmware=one.said.firmware, crank_length_mm=settings.get("crank_length_mm"),
        power_scale_pct=settings.get("power_scale_pct"),
    )  # fmt: skip


def _headline_summary(label: str, summary: Sequence[tuple[str, JudgedDelta]]) -> tuple[str, JudgedDelta]:
    by_kind = {kind: d for kind, d in summary if d.label == label}
    kind = "steady" if "steady" in by_kind else "all"
    return kind, by_kind[kind]


def _default_title(named: list[_Named]) -> str:
    start = utc(named[0].recording)
    others = ", ".join(n.label for n in named[1:])
    return f"{others} against {named[0].label}" + (f", {start[:10]}" if start else "")


def _warnings(
    trial: Trial, named: list[_Named], alignments: Sequence[Alignment], plan: PlanMatch, planned: Plan
) -> tuple[str, ...]:
    found = [
        f"{a} and {b} carry one sensor's values, so no verdict is given between them: one sensor cannot be its own referee."
        for a, b in trial.same_source
    ]
    for one, recording in zip(named, trial.recordings, strict=True):
        if one.said.claim_pct is None:
            found.append(f"No claim is stated for {one.label}; ±{DEFAULT_CLAIM_PCT:g} % is assumed.")
        if recording.point is None:
            found.append(f"It is not stated where {one.label} measures, so its allowance covers either side of the chain.")
        elif one.said.point is None:
            found.append(
                f"{one.label} is taken to measure at the {recording.point}, guessed from its file; "
                "say so in the set-up if that is wrong."
            )
    found += [f"{a.label}: {a.note}" for a in alignments if not a.settled]
    if planned.source != "laps" and plan.not_ridden:
        found.append(f"Planned but not found in the ride: {', '.join(s.name for s in plan.not_ridden)}.")
    return tuple(found)
