"""A trial and its notes as they go from one server to another. Knows neither the file nor the database."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.reading.recording import Recording
from analysis.setup import Setup


@dataclass(frozen=True, kw_only=True)
class CarriedNote:
    """A note as it is taken along; without times it is about the whole trial. [s on the trial's clock]"""

    text: str
    created_utc: str
    changed_utc: str
    from_s: float | None = None
    to_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class CarriedTrial:
    """A whole trial, checked, not yet kept; `versions` are (UTC, set-up), oldest first."""

    recordings: tuple[Recording, ...]
    versions: tuple[tuple[str, Setup], ...]
    blocks_first: bool
    notes: tuple[CarriedNote, ...]

    @property
    def deltas_hidden(self) -> bool:
        """Whether the deltas were hidden where it comes from, so that they stay hidden here."""
        return self.blocks_first and self.versions[-1][1].frozen_hash is None
