"""What the reviewer may choose about a recording after it was read."""

from __future__ import annotations

from dataclasses import replace

from analysis.errors import BadSetup, UnusableRecording
from analysis.reading.fit_channels import APPLICATION_USED, NATIVE_USED
from analysis.reading.health import health
from analysis.reading.recording import Recording


def choose_power(recording: Recording, power: str | None) -> Recording:
    """The recording with the power that was chosen: "native" (also None), the file's own, or "developer", an application's
    (which is used by itself where the file has no other).

    Raises BadSetup where "developer" was chosen and no application wrote any.
    """
    if power != "developer" or any(w.endswith(APPLICATION_USED) for w in recording.warnings):
        return recording
    try:
        return with_developer_power(recording)
    except UnusableRecording as problem:
        raise BadSetup(f'The set-up says power = "developer", but {problem}') from None


def with_developer_power(recording: Recording) -> Recording:
    """The recording with the power that an application wrote in place of the file's own; its health is told anew.

    Raises UnusableRecording where no application wrote any.
    """
    if "developer_power_w" not in recording.samples:
        raise UnusableRecording(
            f"{recording.name} holds no power written by an application beside its own; keep the file's own power."
        )
    samples = recording.samples.assign(power_w=recording.samples["developer_power_w"]).drop(columns="developer_power_w")
    stops = recording.facts.get("timer_stops", [])
    report = health(samples, interval_s=recording.interval_s, timer_stops=stops)
    told_before = {line["text"] for line in recording.facts.get("health", [])}
    kept = [w for w in recording.warnings if w not in told_before and not w.endswith(NATIVE_USED)]
    return replace(
        recording,
        samples=samples,
        channels=tuple(c for c in dict.fromkeys(("power_w", *recording.channels)) if c != "developer_power_w"),
        facts=recording.facts | {"health": [line.to_dict() for line in report]},
        warnings=(
            *kept,
            *(line.text for line in report if line.notable),
            "The power written by an application is used in place of the file's own: by choice.",
        ),
    )
