"""The one door from server and command line to the analysis; opened only when there is something to compute."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.reading.recording import Recording
from analysis.setup import Setup

Progress = Callable[[str, float], None]


@dataclass(frozen=True, kw_only=True)
class Engine:
    """What the analysis offers; `version` is part of every key.

    `compare` takes recordings, set-up, a progress call, and the sentences of files that fell out, which join the
    trial's warnings.
    """

    version: str
    read: Callable[..., Recording]  # (data, *, name)
    compare: Callable[[Sequence[Recording], Setup, Progress, Sequence[str]], Any]
    pack: Callable[[Any], bytes]
    unpack: Callable[[bytes], Any]


def real_engine() -> Engine:
    """The analysis of this installation."""
    from analysis import ANALYSIS_VERSION, archive, pipeline, reading

    def compare(recordings: Sequence[Recording], setup: Setup, progress: Progress, complaints: Sequence[str]) -> Any:
        comparison = pipeline.compare(recordings, setup, progress=progress)
        return replace(comparison, warnings=(*complaints, *comparison.warnings)) if complaints else comparison

    return Engine(
        version=ANALYSIS_VERSION,
        read=reading.read,
        compare=compare,
        pack=archive.pack,
        unpack=archive.unpack,
    )
