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
