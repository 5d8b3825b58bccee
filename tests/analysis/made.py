"""Recordings and trials with a known truth, for the tests of every room after reading."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.reading.recording import CHANNELS, Recording


def recording(channels: dict[str, np.ndarray], name: str) -> Recording:
    """A Recording from arrays as `sample_data.ride_model.record` gives them."""
    frame = pd.DataFrame({k: np.asarray(v, float) for k, v in channels.items()})
    carried = tuple(c for c in frame.columns if c in CHANNELS and frame[c].notna().any() and (frame[c].fillna(0) != 0).any())
    return Recording(
        name=name, sha256=f"{abs(hash((name, frame.to_json()))):064x}", format="made", samples=frame, channels=carried,
        interval_s=float(np.median(np.diff(frame["time_s"]))),
    )


def without(channels: dict[str, np.ndarray], *names: str) -> dict[str, np.ndarray]:
    """The same arrays less some channels."""
    return {k: v for k, v in channels.items() if k not in names}


def trial_of(devices, *, points=None, claims=None, loss_pct=(1.0, 5.0)):
    """A Trial on one clock from arrays, the first as reference; labels a, b, c..."""
    from analysis.trial import AlignedRecording, Trial

    zero = float(devices[0]["time_s"][0])
    aligned = tuple(
        AlignedRecording(
            label="abcdefgh"[i],
            point=points[i] if points else None,
            claim_pct=claims[i] if claims else 1.0,
            interval_s=float(np.median(np.diff(d["time_s"]))),
            time_s=np.asarray(d["time_s"], float) - zero,
            channels={k: np.asarray(v, float) for k, v in d.items() if k != "time_s"},
        )
        for i, d in enumerate(devices)
    )
    return Trial(recordings=aligned, loss_pct=loss_pct, start_utc=None)
