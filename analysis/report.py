"""One immutable result and its JSON form: plain dicts and lists, units in every key, no NaN.

Schema `countercheck/1`. Every percent is of the reference's mean; times `*_s` are seconds on the reference's clock from
its first sample.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any

from analysis.agreement import Agreement, OwnNoise
from analysis.aligning import Alignment, Piece
from analysis.bests import Bests
from analysis.blocks import Block
from analysis.cautions import CAUTIONS
from analysis.curves import Curve
from analysis.evidence import Finding
from analysis.freezing import Frozen, PlanBefore
from analysis.hypotheses import Hypothesis
from analysis.judging import JudgedDelta, LevelDelta, allowance_of
from analysis.kinetic import Stored
from analysis.match_picture import show_stretch
from analysis.pedalling import Pedalling
from analysis.plan import ASKED, Plan
from analysis.pooling import Pooled, equivalence_p
from analysis.reading.recording import Recording
from analysis.response import Response
from analysis.sensitivity import Sensitivity
from analysis.setup import Setup
from analysis.sprints import Sprints
from analysis.trial import Trial
from analysis.version import ANALYSIS_VERSION

SCHEMA = "countercheck/1"
ZEROS_RULE = (
    "Zeros are counted: a zero while both record is a reading. Figures named pedalling leave out every moment in which either "
    "device reads zero. Time that either did not record, or recorded without power, is left out of both."
)


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Everything one run of the pipeline found; `trial` holds the aligned samples for pictures and for any interval."""

    setup: Setup
    title: str
    headline: str
    second_sentence: str
    trial: Trial
    recordings: tuple[Recording, ...]
    alignment: tuple[Alignment, ...]
    blocks: tuple[Block, ...]
    deltas: tuple[tuple[str, JudgedDelta], ...]
    summary: tuple[tuple[str, JudgedDelta], ...]
    response: tuple[Response, ...]
    agreement: tuple[Agreement, ...]
    noise: tuple[OwnNoise, ...]
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    levels: tuple[LevelDelta, ...] = ()
    bests: tuple[Bests, ...] = ()
    sprints: tuple[Sprints, ...] = ()
    hypotheses: tuple[Hypothesis, ...] = ()
    curves: tuple[Curve, ...] = ()
    pedalling: Pedalling | None = None
    stored: tuple[Stored, ...] = ()
    random_effects: Mapping[str, Pooled | None] = field(default_factory=dict)
    sensitivity: tuple[Sensitivity, ...] = ()
    plan: Plan = field(default_factory=Plan)
    not_ridden: tuple[str, ...] = ()
    elsewhere: tuple[str, ...] = ()
    off_target: tuple[str, ...] = ()
    plan_before: PlanBefore | None = None
    blocks_hash: str = ""
    frozen: Frozen | None = None

    def to_dict(self) -> dict[str, Any]:
        """The JSON tree of the contract; numbers are plain, what cannot be said is null."""
        excluded = {b.id for b in self.blocks if b.excluded_reason is not None}
        return _plain(
            {
                "schema": SCHEMA,
                "version": ANALYSIS_VERSION,
                "title": self.title,
                "reference": self.trial.reference,
                "headline": self.headline,
                "second_sentence": self.second_sentence,
                "drivetrain": {"loss_pct": self.trial.loss_pct},
                "recordings": [_recording(self.trial, label, r, self.setup)
                               for label, r in zip(self.trial.labels, self.recordings, strict=True)],
                "alignment": [_alignment(self.trial, a, self.recordings[0].start_s) for a in self.alignment],
                "blocks": [_block(b) for b in self.blocks],
                "deltas": _deltas(self.deltas, excluded),
                "summary": [{**entry, "random_effects": _pooled(self.random_effects.get(d.label) if kind == "steady" else None,
                                                                d.allowance_pct)}
                            for entry, (kind, d) in zip(_summary(self.summary), self.summary, strict=True)],
                "levels": [_level(level) for level in self.levels],
                "zeros_rule": ZEROS_RULE,
                "response": [asdict(r) for r in self.response],
                "agreement": [asdict(a) for a in self.agreement],
                "noise": [asdict(n) for n in self.noise],
                "findings": [{k: v for k, v in asdict(f).items() if k != "short"} for f in self.findings],
                "allowances": [_allowance(self.trial, label) for label in self.trial.labels[1:]],
                "bests": [asdict(b) for b in self.bests],
                "sprints": [_sprints(x) for x in self.sprints],
                "hypotheses": [asdict(h) for h in self.hypotheses],
                "curves": [asdict(c) for c in self.curves],
                "pedalling": _pedalling(self.pedalling),
                "stored_energy": [asdict(s) for s in self.stored],
                "sensitivity": [asdict(s) for s in self.sensitivity],
                "plan": {"source": self.plan.source, "recording": self.plan.recording, "steps": len(self.plan.steps),
                         "asked": sum(s.kind in ASKED for s in self.plan.steps), "not_ridden": self.not_ridden,
                         "elsewhere": self.elsewhere, "off_target": self.off_target,
                         "frozen": None if self.plan_before is None else asdict(self.plan_before)},
                "edits": [e.to_dict() for e in self.setup.edits],
                "blocks_hash": self.blocks_hash,
                "frozen": None if self.frozen is None else asdict(self.frozen),
                "warnings": self.warnings,
                "cautions": [asdict(c) for c in CAUTIONS],
            }
        )  # fmt: skip


def pair_tables(
    trial: Trial, other: str, *, deltas: Sequence[tuple[str, JudgedDelta]], summary: Sequence[tuple[str, JudgedDelta]],
    levels: Sequence[LevelDelta], excluded: Collection[str],
) -> dict[str, Any]:  # fmt: skip
    """The JSON's tables with everybody held against `other`; `excluded` are ids of blocks that count nowhere."""
    labels = dict.fromkeys(d.label for _, d in deltas)
    return _plain(
        {
            "reference": other,
            "deltas": _deltas(deltas, excluded),
            "summary": _summary(summary),
            "levels": [_level(level) for level in levels],
            "allowances": [{"label": label, **asdict(allowance_of(trial, label, other))} for label in labels],
        }
    )


def blocks_of(report: Mapping[str, Any]) -> list[Block]:
    """The blocks of a report's JSON, as the analysis knows them."""
    names = {f.name for f in fields(Block)}
    known = ({k: tuple(v) if isinstance(v, list) else v for k, v in b.items() if k in names} for b in report["blocks"])
    return [Block(**b) for b in known]


def _deltas(deltas: Sequence[tuple[str, JudgedDelta]], excluded: Collection[str]) -> list[dict[str, Any]]:
    return [{"block": block, **d.to_dict(), "excluded": block in excluded} for block, d in deltas]


def _summary(summary: Sequence[tuple[str, JudgedDelta]]) -> list[dict[str, Any]]:
    return [{**d.to_dict(), "kind": kind, "blocks": d.blocks} for kind, d in summary]


def _recording(trial: Trial, label: str, recording: Recording, setup: Setup) -> dict[str, Any]:
    aligned = trial.recording(label)
    said = next((d for d in setup.devices if label == d.label or recording.name == d.file), None)
    return {
        "label": label,
        "file": recording.name,
        "sha256": recording.sha256,
        "format": recording.format,
        "point": aligned.point,
        "claim_pct": aligned.claim_pct,
        "claim_stated": said is not None and said.claim_pct is not None,
        "firmware": None if said is None else said.firmware,
        "sides": None if said is None else said.sides,
        "obtained": None if said is None else said.obtained,
        "start_utc": recording.start_utc,
        "duration_s": recording.duration_s,
        "samples": len(recording.samples),
        "interval_s": recording.interval_s,
        "channels": recording.channels,
        "facts": recording.facts,
        "warnings": recording.warnings,
    }


def _alignment(trial: Trial, alignment: Alignment, zero_s: float) -> dict[str, Any]:
    tree = asdict(alignment)
    del tree["pivot_s"]
    # ends that reach beyond the recording are infinite, which JSON has no word for
    tree["pieces"] = [{"shift_s": p.shift_s, "shift_se_s": p.shift_se_s, **_piece_span(p, zero_s)} for p in alignment.pieces]
    shown = None if alignment.label == trial.reference else show_stretch(trial, alignment.label)
    tree["show"] = None if shown is None else {"start_s": shown[0], "end_s": shown[1]}
    return tree


def _piece_span(piece: Piece, zero_s: float) -> dict[str, float | None]:
    """Where a stretch begins and ends on the reference's clock; null where it runs to the recording's own end."""
    return {k: getattr(piece, k) + piece.shift_s - zero_s for k in ("start_s", "end_s")}


def _block(block: Block) -> dict[str, Any]:
    return {**asdict(block), "letter": block.letter}


def _pedalling(pedalling: Pedalling | None) -> dict[str, Any]:
    if pedalling is None:
        return {"values": [], "differences": [], "definitions": []}
    return {
        "values": [asdict(v) for v in pedalling.values],
        "differences": [asdict(d) for d in pedalling.differences],
        "definitions": [{"quantity": q.name, "unit": q.unit, "definition": q.definition, "not_with": q.not_with}
                        for q in pedalling.definitions],
    }  # fmt: skip


def _sprints(sprints: Sprints) -> dict[str, Any]:
    tree = asdict(sprints)
    equal = tree["equal_smoothing"]
    if equal is not None:
        equal["peaks"] = [{"duration_s": d, "delta_pct": pct} for d, pct in equal["peaks"]]
    return tree


def _level(level: LevelDelta) -> dict[str, Any]:
    return {
        "level_w": level.level_w, "from_w": level.from_w, "to_w": level.to_w, "block_ids": level.block_ids,
        **level.judged.to_dict(), "blocks": level.judged.blocks,
    }  # fmt: skip


def _pooled(pooled: Pooled | None, allowance_pct: tuple[float, float]) -> dict[str, Any] | None:
    """Random effects over the held blocks in the words and units of the JSON. [%]"""
    if pooled is None:
        return None
    return {
        "blocks": pooled.n, "method": f"{pooled.method}, Hartung-Knapp", "delta_pct": pooled.mean, "delta_pct_ci": pooled.ci,
        "between_blocks_sd_pct": math.sqrt(pooled.tau2), "between_blocks_sd_pct_ci": [math.sqrt(t) for t in pooled.tau2_ci],
        "i2_frac": pooled.i2_frac, "next_block_pct": pooled.prediction,
        "within_allowance_p": equivalence_p(pooled.mean, pooled.se, pooled.n - 1, allowance_pct),
    }  # fmt: skip


def _allowance(trial: Trial, label: str) -> dict[str, Any]:
    return {"label": label, **asdict(allowance_of(trial, label))}


def _plain(value: Any) -> Any:
    """JSON's own types only: tuples become lists, numpy scalars plain numbers, NaN and infinities null.

    An interval with an end that is not finite says nothing and becomes null as a whole.
    """
    if isinstance(value, Mapping):
        plain = {str(k): _plain(v) for k, v in value.items()}
        return {k: None if "ci" in k.split("_") and _lacks_an_end(v) else v for k, v in plain.items()}
    if isinstance(value, (str, bool)) or value is None:
        return value
    if isinstance(value, Sequence):
        return [_plain(v) for v in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def _lacks_an_end(interval: Any) -> bool:
    return interval is None or (isinstance(interval, list) and any(_lacks_an_end(end) for end in interval))
