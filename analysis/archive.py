"""A result as bytes and back: the JSON tree and the aligned samples, in one zip of `.npy` members and JSON. No pickle.

The same comparison gives the same bytes, so a cache can be checked and refilled.
"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.errors import UnreadableFile
from analysis.report import Comparison
from analysis.trial import AlignedRecording, Trial

# Zip stamps start in 1980; a fixed one keeps the bytes the same.
_STAMP = (1980, 1, 1, 0, 0, 0)
# Fast deflate: aligned samples shrink to a third either way.
_LEVEL = 1


@dataclass(frozen=True, kw_only=True)
class OpenTrial:
    """A result opened again: the JSON tree, and the aligned samples for pictures and for any interval."""

    report: dict[str, Any]
    trial: Trial


def pack(comparison: Comparison) -> bytes:
    """Everything a page needs of a result, as bytes."""
    trial = comparison.trial
    index = {
        "loss_pct": list(trial.loss_pct),
        "start_utc": trial.start_utc,
        "same_source": [list(pair) for pair in trial.same_source],
        "adrift": list(trial.adrift),
        "recordings": [
            {
                "label": r.label,
                "point": r.point,
                "claim_pct": r.claim_pct,
                "interval_s": r.interval_s,
                "channels": list(r.channels),
            }
            for r in trial.recordings
        ],
    }
    members: dict[str, bytes] = {"report.json": _json(comparison.to_dict()), "trial.json": _json(index)}
    for i, recording in enumerate(trial.recordings):
        members[f"{i}/time_s.npy"] = _npy(recording.time_s)
        for channel, value in recording.channels.items():
            members[f"{i}/{channel}.npy"] = _npy(value)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=_LEVEL) as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name, _STAMP), data, zipfile.ZIP_DEFLATED, _LEVEL)
    return out.getvalue()


def unpack(data: bytes) -> OpenTrial:
    """Open what `pack` wrote.

    Raises
    ------
    UnreadableFile
        The bytes are damaged or were not written by `pack`; compute the result again.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            index = json.loads(archive.read("trial.json"))
            report = json.loads(archive.read("report.json"))
            recordings = tuple(
                AlignedRecording(
                    label=r["label"], point=r["point"], claim_pct=r["claim_pct"], interval_s=r["interval_s"],
                    time_s=_array(archive, f"{i}/time_s.npy"),
                    channels={c: _array(archive, f"{i}/{c}.npy") for c in r["channels"]},
                )
                for i, r in enumerate(index["recordings"])
            )  # fmt: skip
            loss = (float(index["loss_pct"][0]), float(index["loss_pct"][1]))
            same = tuple((str(a), str(b)) for a, b in index["same_source"])
            adrift = tuple(str(label) for label in index["adrift"])
            trial = Trial(
                recordings=recordings, loss_pct=loss, start_utc=index["start_utc"], same_source=same, adrift=adrift
            )  # fmt: skip
            return OpenTrial(report=report, trial=trial)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, IndexError, EOFError) as problem:
        raise UnreadableFile(f"The stored result is damaged ({type(problem).__name__}); compute it again.") from None


def _json(tree: dict[str, Any]) -> bytes:
    return json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def _npy(values: np.ndarray) -> bytes:
    out = io.BytesIO()
    np.save(out, np.ascontiguousarray(values, "<f8"), allow_pickle=False)
    return out.getvalue()


def _array(archive: zipfile.ZipFile, name: str) -> np.ndarray:
    return np.load(io.BytesIO(archive.read(name)), allow_pickle=False)
