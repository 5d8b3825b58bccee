"""No peeking: while a trial's deltas are hidden, only what is made here of its result may leave the server.

The rest of the app asks `shown` for a result to show and never looks at the whole one of a hidden trial.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from analysis.archive import OpenTrial
from analysis.consensus import consensus_of
from analysis.errors import CountercheckError
from analysis.trial import AlignedRecording, Trial
from app.jobs import Ready
from app.services import Services
from app.store import StoredTrial

# The one trace that says where blocks are and nothing of how devices compare.
MIDDLE = "middle of all recordings"
# What of a result tells nothing of a difference; everything else stays on the server.
SHOWN_KEYS = ("schema", "version", "title", "reference", "blocks", "plan", "edits", "blocks_hash", "frozen")
SHOWN_OF_RECORDING = ("label", "file", "start_utc", "duration_s")
SHOWN_OF_ALIGNMENT = ("label", "shift_s", "shift_se_s", "drift_ppm", "via", "settled")


class DeltasHidden(CountercheckError):
    """A delta was asked for that may not be seen yet."""


class CannotFreeze(CountercheckError):
    """There is nothing to freeze, or not any more."""


def refuse_hidden(stored: StoredTrial) -> None:
    """Raises DeltasHidden while the blocks of this trial are still to be frozen."""
    if stored.deltas_hidden:
        raise DeltasHidden(
            "The deltas of this trial are not shown before its owner has frozen the blocks; nothing can be taken away until then."
        )


def shown(stored: StoredTrial, found: Any) -> Any:
    """The open result itself, or the part of it that tells no delta while they are hidden."""
    return without_deltas(found) if stored.deltas_hidden else found


def without_deltas(found: Any) -> OpenTrial:
    """Blocks and one trace, the middle of all recordings; nothing from which a device's reading could be told."""
    report, consensus = found.report, consensus_of(found.trial)
    # a value stands for its whole second, a sample for the time around its stamp
    middle = AlignedRecording(
        label=MIDDLE, point=None, claim_pct=0.0, interval_s=1.0, time_s=np.asarray(consensus.second_s, float) + 0.5,
        channels={"power_w": consensus.power_w, "cadence_rpm": consensus.cadence_rpm},
    )  # fmt: skip
    left = {key: report[key] for key in SHOWN_KEYS if key in report}
    left["recordings"] = [_only(r, SHOWN_OF_RECORDING) for r in report["recordings"]] + [{"label": MIDDLE, "file": None}]
    left["alignment"] = [_only(a, SHOWN_OF_ALIGNMENT) for a in report["alignment"]]
    left |= {"deltas": [], "summary": [], "allowances": []}
    trial = Trial(recordings=(middle,), loss_pct=found.trial.loss_pct, start_utc=found.trial.start_utc)
    return OpenTrial(report=left, trial=trial)


def freeze(services: Services, trial_id: str, seen_version: int) -> None:
    """Keep date and hash of the blocks as they are now; from then on the deltas are shown. The caller has checked the key.

    Raises
    ------
    CannotFreeze
        The deltas were shown before, or there is no result whose blocks could be frozen.
    ChangedMeanwhile
        The blocks are no longer those that the owner saw.
    """
    stored = services.store.trial(trial_id)
    if stored is None or not stored.deltas_hidden:
        raise CannotFreeze("The deltas of this trial have been shown already, so freezing its blocks now would say nothing.")
    answer = services.jobs.ask(trial_id)
    if not isinstance(answer, Ready):
        raise CannotFreeze("There are no blocks to freeze yet; wait until they are there and try again.")
    now = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    setup = replace(stored.setup, frozen_hash=answer.open_trial.report["blocks_hash"], frozen_utc=now)
    services.store.change_setup(trial_id, setup, seen_version=seen_version)


def _only(entry: Mapping[str, Any], keys: tuple[str, ...]) -> dict[str, Any]:
    return {key: entry.get(key) for key in keys}
