"""Files to result: what cannot take part falls out with a sentence, the rest is compared; for jobs and command line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.errors import BadSetup, CountercheckError
from analysis.reading.recording import Recording
from analysis.setup import Setup
from app.engine import Engine, Progress
from app.intake import Intake, Source, take_in, without

# Reading one file takes longer than comparing all of them, so each file counts as much as the comparison.
COMPARISON_FILES = 1


def outcome_of(
    sources: Sequence[Source], setup: Setup, engine: Engine, progress: Progress
) -> tuple[Any, tuple[str, ...]]:
    """The comparison, and the sentences of what fell out (they are among its warnings too).

    Raises
    ------
    CountercheckError
        Fewer than two recordings can be compared, or the set-up does not fit them.
    """
    share = len(sources) / (len(sources) + COMPARISON_FILES)
    intake = take_in(sources, setup, lambda stage, frac: progress(stage, frac * share))

    def rest(stage: str, frac: float) -> None:
        progress(stage, share + frac * (1 - share))

    try:
        comparison = engine.compare(intake.recordings, intake.setup, rest, intake.complaints)
    except BadSetup:
        raise
    except CountercheckError:
        if len(intake.recordings) == 2:
            raise
        intake = _without_strangers(intake, engine, rest)
        comparison = engine.compare(intake.recordings, intake.setup, rest, intake.complaints)
    return comparison, intake.complaints


def _without_strangers(intake: Intake, engine: Engine, progress: Progress) -> Intake:
    """Try each device alone against the reference and leave out those that fail; when all do, raises as the first."""
    reference = _reference(intake)
    strangers: dict[str, CountercheckError] = {}
    for recording in intake.recordings:
        if recording is reference:
            continue
        others = [r.name for r in intake.recordings if r is not recording and r is not reference]
        try:
            engine.compare((reference, recording), without(intake.setup, others), progress, ())
        except CountercheckError as problem:
            strangers[recording.name] = problem
    if len(intake.recordings) - len(strangers) < 2:
        raise next(iter(strangers.values()))
    return Intake(
        recordings=tuple(r for r in intake.recordings if r.name not in strangers),
        complaints=(*intake.complaints, *map(str, strangers.values())),
        setup=without(intake.setup, strangers),
    )


def _reference(intake: Intake) -> Recording:
    labels = {d.file: d.label for d in intake.setup.devices}
    for recording in intake.recordings:
        called = (labels.get(recording.name), recording.facts.get("label_guess"), recording.name)
        if intake.setup.reference is not None and intake.setup.reference in called:
            return recording
    return intake.recordings[0]
