"""What callbacks and routes work with: the app's store, jobs and settings, and the acts that change something."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import flask

from analysis.errors import BadSetup, NotOneRide, SameRecording
from analysis.setup import Setup, setup_from_dict
from app.intake import unique_names
from app.jobs import Jobs
from app.limits_gate import Gate
from app.parsing import Reader
from app.remembered import Remembered
from app.settings import Settings
from app.store import MissingBlob, NewTrial, Store

CONFIG_KEY = "COUNTERCHECK"


@dataclass(frozen=True, kw_only=True)
class Services:
    """One set per app, kept in the Flask app's config."""

    settings: Settings
    store: Store
    jobs: Jobs
    reader: Reader
    gate: Gate
    drawn: Remembered = field(default_factory=Remembered)

    def close(self) -> None:
        """End what runs beside the answers, and let go of the store."""
        self.reader.close()
        self.jobs.close()
        self.gate.close()
        self.store.close()


def get_services() -> Services:
    """The services of the app that answers the present request."""
    return flask.current_app.config[CONFIG_KEY]


def base_url() -> str:
    """Scheme and host under which readers reach this server, for addresses that are sent to somebody."""
    return get_services().settings.base_url or flask.request.host_url.rstrip("/")


def create_trial(
    services: Services,
    recordings: Sequence[Mapping[str, Any]],
    setup: Setup | Mapping[str, Any],
    *,
    blocks_first: bool = False,
) -> NewTrial:
    """Make a trial of uploaded recordings, each {"id", "name"} as the upload answered it; the caller grants the owner key.

    File names must differ, because the set-up speaks of recordings by file name: see `intake.unique_names`.

    Raises
    ------
    NotOneRide, SameRecording, MissingBlob, BadSetup, TooMany, OverQuota, QueueFull
        One sentence each, for the person at the page.
    """
    pairs = [_pair(entry) for entry in recordings]
    names = [name for _, name in pairs]
    if len(pairs) < 2:
        raise NotOneRide("A comparison needs at least two recordings of the same ride; add another file.")
    if len(pairs) > services.settings.max_files:
        raise NotOneRide(f"At most {services.settings.max_files} recordings fit into one trial; got {len(pairs)}.")
    for i, (recording_id, name) in enumerate(pairs):
        if not services.store.has_recording(recording_id):
            raise MissingBlob(f"{name} has not arrived here; upload it again.")
        twin = next((other for known, other in pairs[:i] if known == recording_id), None)
        if twin is not None:
            raise SameRecording(
                f"{name} is the same file as {twin}; a device cannot be its own referee; leave one out."
            )
    if unique_names(names) != names:
        raise BadSetup(f"Two recordings are called alike or a name holds a folder ({', '.join(names)}); rename one.")
    services.jobs.refuse_full()
    services.gate.new_trial()
    checked = setup if isinstance(setup, Setup) else setup_from_dict(dict(setup))
    # a date and a hash that somebody brings along are no witness; this server states only what it saw itself
    return services.store.create_trial(pairs, replace(checked, frozen_hash=None, frozen_utc=None), blocks_first=blocks_first)


def _pair(entry: Any) -> tuple[str, str]:
    if not isinstance(entry, Mapping) or not all(isinstance(entry.get(k), str) for k in ("id", "name")):
        raise BadSetup('Each recording must be {"id": ..., "name": ...}, both text, as the upload answered them.')
    return entry["id"], entry["name"]
