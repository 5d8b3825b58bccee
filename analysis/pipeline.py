"""The only place that calls the rooms in order: recordings and a set-up in, one immutable result out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

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
from analysis.evidence import Evidence, Finding
from analysis.findings import findings_of, hypotheses
from analysis.freezing import blocks_hash, frozen_state, plan_before
from analysis.hypotheses import Hypothesis
from analysis.judging import JudgedDelta, LevelDelta, judge_levels, judge_pooled, judge_stretch, random_effects
from analysis.kinetic import Stored, stored_in_blocks
from analysis.lineup import Entry, declared, line_up, title_of, trial_of, warnings_of
from analysis.pedalling import mean_left_share, pedalling_of
from analysis.plan import Plan, PlanMatch, match_plan, plan_of
from analysis.reading.recording import Recording
from analysis.report import Comparison
from analysis.response import Response, response_of
from analysis.sensitivity import Sensitivity, sensitivity_of, settled
from analysis.setup import Setup
from analysis.sprints import sprints_of
from analysis.trial import Trial
from analysis.watching import dropouts, stuck
from analysis.windows import with_windows
from analysis.wording import headline, second_sentence

Progress = Callable[[str, float], None]
SUMMARY_KINDS = ("steady", "transient", "free", "all")
SCOPE = "One unit of each, one rig, one ride."


@dataclass(frozen=True, kw_only=True)
class _Cut:
    """The ride in blocks: all of them, those that count, and how the plan fitted."""

    consensus: Consensus
    blocks: tuple[Block, ...]
    counted: tuple[Block, ...]
    planned: Plan
    match: PlanMatch


@dataclass(frozen=True, kw_only=True)
class _Judged:
    """Deltas by block and by kind, how far the held ones move with their trims, and the energy that speed stores."""

    deltas: tuple[tuple[str, JudgedDelta], ...]
    summary: tuple[tuple[str, JudgedDelta], ...]
    sensitivity: tuple[Sensitivity, ...]
    stored: tuple[Stored, ...]


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
    entries = line_up(recordings, setup)
    alignments, misfits = align_all(
        [Clocked(label=e.label, recording=e.recording, by_hand_s=e.said.shift_s) for e in entries],
        progress=lambda label, i: tell(f"aligning the clock of {label}", 0.05 + 0.35 * i / len(entries)),
    )
    trial = trial_of(entries, alignments, setup)
    tell("finding the blocks", 0.45)
    cut = _cut(trial, entries, setup)
    tell("taking deltas", 0.55)
    judged = _judge(trial, cut)
    tell("measuring the response", 0.75)
    response = tuple(response_of(trial, cut.counted, a) for a in alignments[1:])
    tell("explaining the differences", 0.9)
    findings, weighed = _findings(trial, entries, cut, judged, alignments[1:], response)
    warnings = (*warnings_of(trial, entries, alignments, cut.match, cut.planned), *misfits)
    return _result(setup, entries, trial, alignments, cut, judged, response, findings, weighed, warnings)


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


def summary_between(trial: Trial, device: str, other: str, blocks: Sequence[Block]) -> tuple[tuple[str, JudgedDelta], ...]:
    """Any device against any other, kind by kind, its verdict on held power weighed by other trims as every summary's is.

    Raises
    ------
    OutOfRange
        A label that the trial does not have.
    """
    return _weighed(trial, blocks, _summaries(trial, device, blocks, against=other), against=other)[0]


def _cut(trial: Trial, entries: Sequence[Entry], setup: Setup) -> _Cut:
    consensus = consensus_of(trial)
    planned = plan_of(setup.plan, [(e.label, e.recording.facts) for e in entries])
    match = match_plan(consensus, find_blocks(consensus), planned.steps)
    blocks = with_windows(described(trial, apply_edits(consensus, match.blocks, setup.edits)))
    counted = tuple(b for b in blocks if b.excluded_reason is None)
    return _Cut(consensus=consensus, blocks=blocks, counted=counted, planned=planned, match=match)


def _judge(trial: Trial, cut: _Cut) -> _Judged:
    """Every block is judged, excluded ones too; only those that count enter a summary."""
    deltas = tuple(
        (b.id, judge_stretch(trial, d.label, b.interior_start_s, b.interior_end_s))
        for b in cut.blocks
        if b.kind != "gap"
        for d in trial.devices
    )
    summary = tuple((kind, judged) for d in trial.devices for kind, judged in _summaries(trial, d.label, cut.counted))
    summary, sensitivity = _weighed(trial, cut.counted, summary)
    return _Judged(deltas=deltas, summary=summary, sensitivity=sensitivity, stored=stored_in_blocks(trial, cut.blocks))


def _result(
    setup: Setup, entries: Sequence[Entry], trial: Trial, alignments: Sequence[Alignment], cut: _Cut, judged: _Judged,
    response: tuple[Response, ...], findings: tuple[Finding, ...], weighed: tuple[Hypothesis, ...], warnings: tuple[str, ...],
) -> Comparison:  # fmt: skip
    """All that was found, with what needs nothing but the blocks that count."""
    blocks, counted = cut.blocks, cut.counted
    left_out = [b for b in blocks if b.excluded_reason is not None]
    labels = [d.label for d in trial.devices]
    held = {b.id for b in counted if b.kind == "steady"}
    noise = noise_of(trial, counted)
    now = blocks_hash(blocks, setup.edits, setup.plan)
    return Comparison(
        setup=setup,
        title=setup.title or title_of(entries),
        headline=headline(trial.reference, [(d, *_headline_summary(d, judged.summary)) for d in labels], findings),
        second_sentence=second_sentence(findings, SCOPE),
        trial=trial,
        recordings=tuple(e.recording for e in entries),
        alignment=tuple(alignments),
        blocks=blocks,
        deltas=judged.deltas,
        summary=judged.summary,
        response=response,
        agreement=tuple(agreement_of(trial, n.label, counted, n) for n in noise[1:]),
        noise=noise,
        findings=findings,
        bests=tuple(bests_of(trial, r.label, lag_s=r.lag_s, excluded=left_out) for r in response),
        hypotheses=weighed,
        curves=tuple(c for d in labels for c in curves_of(trial, d, counted)),
        pedalling=pedalling_of(trial, counted),
        sprints=tuple(sprints_of(trial, counted, r) for r in response),
        stored=judged.stored,
        levels=tuple(level for d in labels for level in judge_levels(trial, d, counted)),
        random_effects={d: random_effects([j for b, j in judged.deltas if j.label == d and b in held]) for d in labels},
        sensitivity=judged.sensitivity,
        plan=cut.planned,
        not_ridden=tuple(s.name for s in cut.match.not_ridden),
        elsewhere=tuple(s.name for s in cut.match.elsewhere),
        off_target=tuple(s.name for s in cut.match.off_target),
        plan_before=plan_before(setup.frozen_plan, setup.plan, entries[0].recording.start_utc),
        blocks_hash=now,
        frozen=frozen_state(setup.frozen_hash, setup.frozen_utc, now),
        warnings=warnings,
    )


def _summaries(
    trial: Trial, label: str, blocks: Sequence[Block], *, against: str | None = None
) -> list[tuple[str, JudgedDelta]]:
    """Per kind that the ride holds, and over all that was ridden; blocks are the replicates."""
    found = []
    for kind in SUMMARY_KINDS:
        chosen = [b for b in blocks if b.kind == kind or (kind == "all" and b.kind != "gap")]
        if chosen:
            inner = [(b.start_s, b.end_s) if kind == "all" else (b.interior_start_s, b.interior_end_s) for b in chosen]
            found.append((kind, judge_pooled(trial, label, inner, against=against)))
    return found


def _weighed(
    trial: Trial, blocks: Sequence[Block], summary: Sequence[tuple[str, JudgedDelta]], *, against: str | None = None
) -> tuple[tuple[tuple[str, JudgedDelta], ...], tuple[Sensitivity, ...]]:
    """The summary with every verdict on held power withdrawn that hangs on the trims, and how far each delta moves with them."""
    held = [b for b in blocks if b.kind == "steady"]
    moved = {judged.label: sensitivity_of(trial, held, judged, against=against) for kind, judged in summary if kind == "steady"}
    weighed = ((kind, settled(judged, moved[judged.label]) if kind == "steady" else judged) for kind, judged in summary)
    return tuple(weighed), tuple(moved.values())


def _findings(
    trial: Trial, entries: Sequence[Entry], cut: _Cut, judged: _Judged, alignments: Sequence[Alignment],
    response: Sequence[Response],
) -> tuple[tuple[Finding, ...], tuple[Hypothesis, ...]]:  # fmt: skip
    found: list[Finding] = []
    weighed: list[Hypothesis] = []
    counted = {b.id for b in cut.counted}
    stored, said = tuple(s for s in judged.stored if s.block in counted), {e.label: declared(e) for e in entries}
    for alignment, answer in zip(alignments, response, strict=True):
        label = alignment.label
        pieces = pieces_of(trial, label, cut.counted)
        seen = Evidence(
            label=label, by_kind={kind: d for kind, d in judged.summary if d.label == label}, causes=find_causes(pieces),
            response=answer, alignment=alignment, dropouts=dropouts(trial, label, cut.consensus), stuck=stuck(trial, label),
            stored=stored, weighed=weigh(pieces), declared=said, left_share=mean_left_share(trial, without=label),
        )  # fmt: skip
        own = findings_of(trial, seen)
        found += own
        weighed += hypotheses(seen, own)
    return tuple(found), tuple(weighed)


def _headline_summary(label: str, summary: Sequence[tuple[str, JudgedDelta]]) -> tuple[str, JudgedDelta]:
    by_kind = {kind: d for kind, d in summary if d.label == label}
    kind = "steady" if "steady" in by_kind else "all"
    return kind, by_kind[kind]
