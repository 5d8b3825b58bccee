"""What a reviewer writes into a dossier: frozen records, read from and written to plain dicts. Every part may be empty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from analysis.bench_sheet import Row
from analysis.fields import Fields
from analysis.setup import POINTS

MAX_NAME, MAX_LINE, MAX_TEXT = 80, 300, 6000
MAX_TRIALS, MAX_ROWS, MAX_INCIDENTS, MAX_ENTRIES = 100, 200, 300, 100
OBTAINED = ("not stated", "bought", "lent by the maker", "lent by somebody else", "given")
KINDS = ("other", "pairing", "firmware", "drop-out", "zero", "battery", "mechanical")
WHERE = ("not stated", "indoors", "outdoors")
PROMISES = ("value", "at least", "at most")
# What the trial was meant to vary, beyond what its recordings show; words of the scoping review's conditions.
VARIED = ("vibration", "position", "torque", "temperature", "refitted")
LICENCES = ("not stated", "CC-BY-4.0", "CC0-1.0", "ODC-BY-1.0")
MAX_PRICE, MAX_SIZE = 1e6, 1e9


@dataclass(frozen=True, kw_only=True)
class Device:
    """The device under review. about : what it is; ties : what its reviewer has to do with its maker; in the reviewer's words."""

    name: str
    about: str | None = None
    point: str | None = None
    claim_pct: float | None = None
    obtained: str = "not stated"
    obtained_note: str | None = None
    price: float | None = None
    currency: str | None = None
    ties: str | None = None


@dataclass(frozen=True, kw_only=True)
class Firmware:
    """One version of the device's firmware and since when it was on it."""

    version: str
    since: str | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class TrialEntry:
    """One trial in the dossier: `key` names it within, `label` is the device's there. digest : see dossier.digest.

    link : the path of the trial's page where readers may open it; taken : the day on which the digest was taken from there;
    earlier : the digest that an older analysis gave.
    """

    key: str
    name: str
    label: str
    digest: Mapping[str, Any]
    rider: str | None = None
    unit: str | None = None
    rig: str | None = None
    day: str | None = None
    where: str = "not stated"
    varied: tuple[str, ...] = ()
    note: str | None = None
    link: str | None = None
    taken: str | None = None
    earlier: Mapping[str, Any] | None = None


@dataclass(frozen=True, kw_only=True)
class BenchEntry:
    """A row of the bench sheet and the device it was measured on (the one under review, or one beside it)."""

    device: str
    row: Row
    instrument: str | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class Incident:
    """Something that went wrong: what, what was tried, what helped, and which firmware ended it."""

    day: str | None
    kind: str
    what: str
    tried: str | None = None
    helped: str | None = None
    ended_with: str | None = None
    found_in: str | None = None


@dataclass(frozen=True, kw_only=True)
class Dated:
    """A dated text: a correction, or the maker's reply."""

    day: str
    text: str
    who: str | None = None


@dataclass(frozen=True, kw_only=True)
class Dossier:
    """The whole; `conclusion` and `limits` are the reviewer's own words, everything else is fact or figure."""

    title: str
    device: Device
    reviewer: str | None = None
    conclusion: str | None = None
    limits: str | None = None
    licence: str = "not stated"
    firmware: tuple[Firmware, ...] = ()
    trials: tuple[TrialEntry, ...] = ()
    bench: tuple[BenchEntry, ...] = ()
    incidents: tuple[Incident, ...] = ()
    corrections: tuple[Dated, ...] = ()
    reply: Dated | None = None
    answers: Mapping[str, str] | None = None

    def to_dict(self) -> dict[str, Any]:
        """What `dossier_from_dict` reads back to an equal dossier."""
        return asdict(self)


def dossier_from_dict(tree: Mapping[str, Any]) -> Dossier:
    """Check a dossier as typed, as kept or as imported.

    Raises
    ------
    BadSetup
        One sentence naming the field, such as `bench[3].row.resolution`, and what it must be.
    """
    got = Fields(tree, known=Dossier.__dataclass_fields__)
    trials = tuple(_trial(*e) for e in got.entries("trials", 0, MAX_TRIALS))
    keys = [t.key for t in trials]
    twice = next((k for k in keys if keys.count(k) > 1), None)
    if twice is not None:
        raise got.complain("trials", f"name {twice!r} twice; a trial is counted once.")
    return Dossier(
        title=got.text("title", MAX_NAME), device=_device(tree.get("device"), "device."),
        reviewer=got.text_or_none("reviewer", MAX_NAME),
        conclusion=got.text_or_none("conclusion", MAX_TEXT), limits=got.text_or_none("limits", MAX_TEXT),
        licence=got.one_of("licence", LICENCES), firmware=tuple(_firmware(*e) for e in got.entries("firmware", 0, MAX_ENTRIES)),
        trials=trials, bench=tuple(_bench(*e) for e in got.entries("bench", 0, MAX_ROWS)),
        incidents=tuple(_incident(*e) for e in got.entries("incidents", 0, MAX_INCIDENTS)),
        corrections=tuple(_dated(*e) for e in got.entries("corrections", 0, MAX_ENTRIES)),
        reply=None if tree.get("reply") is None else _dated(tree["reply"], "reply."), answers=_answers(tree.get("answers")),
    )  # fmt: skip


def _device(entry: Any, where: str) -> Device:
    got = Fields(entry, where, known=Device.__dataclass_fields__)
    point = got.text_or_none("point", MAX_NAME)
    return Device(
        name=got.text("name", MAX_NAME), about=got.text_or_none("about", MAX_TEXT),
        point=None if point is None else got.one_of("point", POINTS),
        claim_pct=got.number("claim_pct", 0.0, 50.0), obtained=got.one_of("obtained", OBTAINED),
        obtained_note=got.text_or_none("obtained_note", MAX_LINE), price=got.number("price", 0.0, MAX_PRICE),
        currency=got.text_or_none("currency", 3), ties=got.text_or_none("ties", MAX_TEXT),
    )  # fmt: skip


def _firmware(entry: Any, where: str) -> Firmware:
    got = Fields(entry, where, known=Firmware.__dataclass_fields__)
    return Firmware(version=got.text("version", MAX_NAME), since=got.day("since"), note=got.text_or_none("note", MAX_LINE))


def _trial(entry: Any, where: str) -> TrialEntry:
    got = Fields(entry, where, known=TrialEntry.__dataclass_fields__)
    varied = tuple(v for v, _ in got.entries("varied", 0, len(VARIED)))
    wrong = next((v for v in varied if v not in VARIED), None)
    if wrong is not None:
        raise got.complain("varied", f"may hold {', '.join(VARIED)}; got {wrong!r}.")
    digest, earlier = entry.get("digest"), entry.get("earlier")
    for one in (digest, digest if earlier is None else earlier):
        if not isinstance(one, Mapping) or one.get("schema") != "countercheck-digest/1":
            raise got.complain("digest", "must be what a trial's result gives; add the trial again.")
    return TrialEntry(
        key=got.text("key", MAX_NAME), name=got.text("name", MAX_NAME), label=got.text("label", MAX_NAME),
        digest=dict(digest),
        rider=got.text_or_none("rider", MAX_NAME), unit=got.text_or_none("unit", MAX_NAME), rig=got.text_or_none("rig", MAX_LINE),
        day=got.day("day"), where=got.one_of("where", WHERE), varied=varied, note=got.text_or_none("note", MAX_LINE),
        link=got.text_or_none("link", MAX_NAME + 40), taken=got.day("taken"), earlier=earlier,
    )  # fmt: skip


def _bench(entry: Any, where: str) -> BenchEntry:
    got = Fields(entry, where, known=BenchEntry.__dataclass_fields__)
    return BenchEntry(
        device=got.text("device", MAX_NAME), row=_row(entry.get("row"), f"{where}row."),
        instrument=got.text_or_none("instrument", MAX_LINE), note=got.text_or_none("note", MAX_LINE),
    )  # fmt: skip


def _row(entry: Any, where: str) -> Row:
    got = Fields(entry, where, known=Row.__dataclass_fields__)
    readings = tuple(
        Fields({"reading": value}, place[:-1] + ".", known=("reading",)).number("reading", -MAX_SIZE, MAX_SIZE)
        for value, place in got.entries("readings", 1, MAX_ENTRIES)
    )
    if any(r is None for r in readings):
        raise got.complain("readings", "must all be numbers; leave out the empty ones.")
    small = {key: got.number(key, 0.0, MAX_SIZE) or 0.0 for key in ("resolution", "calibration", "setup")}
    return Row(
        quantity=got.text("quantity", MAX_NAME), unit=got.text("unit", 12), readings=readings,
        claimed=got.number("claimed", -MAX_SIZE, MAX_SIZE), tolerance=got.number("tolerance", 0.0, MAX_SIZE),
        promise=got.one_of("promise", PROMISES), stopped_early=_yes(got, entry.get("stopped_early", False)), **small,
    )  # fmt: skip


def _yes(got: Fields, value: Any) -> bool:
    if not isinstance(value, bool):
        raise got.complain("stopped_early", f"must be true or false; got {value!r}.")
    return value


def _incident(entry: Any, where: str) -> Incident:
    got = Fields(entry, where, known=Incident.__dataclass_fields__)
    return Incident(
        day=got.day("day"), kind=got.one_of("kind", KINDS), what=got.text("what", MAX_TEXT),
        tried=got.text_or_none("tried", MAX_TEXT), helped=got.text_or_none("helped", MAX_TEXT),
        ended_with=got.text_or_none("ended_with", MAX_NAME), found_in=got.text_or_none("found_in", MAX_NAME),
    )  # fmt: skip


def _dated(entry: Any, where: str) -> Dated:
    got = Fields(entry, where, known=Dated.__dataclass_fields__)
    day = got.day("day")
    if day is None:
        raise got.complain("day", "is missing; write a date such as 2026-03-14.")
    return Dated(day=day, text=got.text("text", MAX_TEXT), who=got.text_or_none("who", MAX_NAME))


def _answers(tree: Any) -> dict[str, str] | None:
    """What the reviewer filled into the blanks of the reporting checklist, by item."""
    if tree is None:
        return None
    got = Fields(tree, "answers.", known=tree if isinstance(tree, Mapping) else ())
    return {key: text for key in tree if (text := got.text_or_none(str(key), MAX_TEXT)) is not None}
