"""What the reviewer may choose about a recording after it was read."""

from __future__ import annotations

from dataclasses import replace

from analysis.errors import UnusableRecording
from analysis.reading.recording import Recording


def with_developer_power(recording: Recording) -> Recording:
    """The recording with the power that an application wrote in place of the file's own.

    Raises UnusableRecording where no application wrote any.
    """
    if "developer_power_w" not in recording.samples:
        raise UnusableRecording(
            f"{recording.name} holds no power written by an application beside its own; keep the file's own power."
        )
    samples = recording.samples.assign(power_w=recording.samples["developer_power_w"]).drop(columns="developer_power_w")
    return replace(
        recording,
        samples=samples,
        channels=tuple(c for c in dict.fromkeys(("power_w", *recording.channels)) if c != "developer_power_w"),
        warnings=(*recording.warnings, "The power written by an application is used in place of the file's own: by choice."),
    )
