"""Several files in, the usable recordings out; a file that cannot be used becomes a sentence and costs no other."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from analysis.errors import CountercheckError, NotOneRide, UnusableRecording
from analysis.reading.naming import clean_name, guess_label
from analysis.reading.recording import Recording
from analysis.setup import Setup
from app.engine import Progress


@dataclass(frozen=True, kw_only=True)
class Source:
    """One file: its name, and how to read it (raises CountercheckError kinds only)."""

    name: str
    load: Callable[[], Recording]


@dataclass(frozen=True, kw_only=True)
class Intake:
    """The recordings that can take part, one sentence for each that cannot, and the set-up that is left."""

    recordings: tuple[Recording, ...]
    complaints: tuple[str, ...]
    setup: Setup


def take_in(sources: Sequence[Source], setup: Setup, progress: Progress) -> Intake:
    """Read the sources in order.

    Raises
    ------
    NotOneRide
        Fewer than two recordings are left; the message holds the sentence of each file that fell out.
    """
    good: list[Recording] = []
    complaints: dict[str, str] = {}
    for i, source in enumerate(sources):
        progress(f"reading {source.name}", i / len(sources))
        try:
            good.append(_fit_to_join(source.load(), good))
        except CountercheckError as problem:
            complaints[source.name] = str(problem)
    if len(good) < 2:
        raise NotOneRide("\n".join(complaints.values()) or _too_few(sources))
    setup, moved = _replaced_reference(setup, complaints, good)
    return Intake(recordings=tuple(good), complaints=(*complaints.values(), *moved), setup=setup)


def unique_names(names: Iterable[str]) -> list[str]:
    """Names as messages and set-up use them: no folders, each once ("ride.fit", "ride (2).fit")."""
    taken: list[str] = []
    for name in map(clean_name, names):
        stem, dot, suffix = name.rpartition(".")
        numbered, n = name, 1
        while numbered in taken:
            n += 1
            numbered = f"{stem} ({n}).{suffix}" if dot and stem else f"{name} ({n})"
        taken.append(numbered)
    return taken


def without(setup: Setup, names: Iterable[str]) -> Setup:
    """The set-up minus what it says of these files."""
    gone = set(names)
    return replace(setup, devices=tuple(d for d in setup.devices if d.file not in gone))


def check_usable(recording: Recording) -> Recording:
    """The recording itself. Raises UnusableRecording when it carries no power."""
    if "power_w" not in recording.channels:
        raise UnusableRecording(
            f"{recording.name} holds no power; give the file of a device that measured power, or leave this one out."
        )
    return recording


def device_key(recording: Recording) -> str:
    """What a file says of its device, by which a browser knows the next file of the same one; never a serial number.

    Maker and product number of its only power sensor, else the label in the file's name.
    """
    sensors = [s for s in recording.facts.get("sensors", []) if s.get("type") == "bike_power"]
    if len(sensors) == 1 and "maker" in sensors[0] and "product" in sensors[0]:
        return f"power sensor {sensors[0]['maker']}/{sensors[0]['product']}"
    return guess_label(recording.name)


def _fit_to_join(recording: Recording, others: list[Recording]) -> Recording:
    for other in others:
        if other.sha256 == recording.sha256:
            raise UnusableRecording(
                f"{recording.name} is the same file as {other.name}; a device cannot be its own referee, leave one out."
            )
    return check_usable(recording)


def _replaced_reference(setup: Setup, dropped: Iterable[str], good: list[Recording]) -> tuple[Setup, tuple[str, ...]]:
    """The set-up minus the files that fell out; if one of them was the reference, say who takes its place."""
    left = without(setup, dropped)
    labels = {d.label for d in setup.devices if d not in left.devices} | {guess_label(name) for name in dropped}
    if setup.reference not in labels or setup.reference in {d.label for d in left.devices}:
        return left, ()
    sentence = f"The chosen reference {setup.reference!r} could not be used; {good[0].name} takes its place."
    return replace(left, reference=None), (sentence,)


def _too_few(sources: Sequence[Source]) -> str:
    if not sources:
        return "No recording was given; give at least two of the same ride."
    return f"Only one recording was given ({sources[0].name}); give at least two of the same ride."
