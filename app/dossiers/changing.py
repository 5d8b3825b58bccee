"""What an owner does to a dossier -> the new dossier, checked. Pure but for looking trials up, which is handed in.

A form comes as {"part", "rows"}; what a part's form does not show stays as it was.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from analysis.dossier.digest import digest_of
from analysis.dossier.document import MAX_NAME, Dossier, Firmware, TrialEntry, dossier_from_dict
from analysis.dossier.incidents import incidents_in
from analysis.dossier.standing import moved_verdicts
from analysis.errors import BadSetup, CountercheckError
from app.dossiers.fields import PARTS, read_part
from app.links import parse, trial_path

KEY_BYTES = 6  # tells a hundred trials apart
MAX_ROWS = 300
MAX_TITLE = 70  # leaves room for a number where two trials are called alike

# The result (the JSON's dict) of the trial at an address; raises CountercheckError kinds where there is none to be had.
Report = Callable[[str], Mapping[str, Any]]


def new_dossier(title: str, device: str) -> Dossier:
    """An empty one. Raises BadSetup, naming the field."""
    return dossier_from_dict({"title": title.strip(), "device": {"name": device.strip()}})


def changed_part(dossier: Dossier, form: Mapping[str, Any]) -> Dossier:
    """The dossier with one part as its form says. Raises BadSetup, naming part, row and field."""
    part = PARTS.get(str(form.get("part")))
    rows = form.get("rows")
    if part is None or not isinstance(rows, list) or len(rows) > MAX_ROWS or not all(isinstance(r, Mapping) for r in rows):
        raise BadSetup("The page asked for something that a dossier does not have; reload it and try again.")
    tree = dossier.to_dict()
    read = read_part(part, rows)
    if part.name == "words":
        return dossier_from_dict({**tree, **{f.key: None for f in part.fields if f.key != "licence"}, **(read or {})})
    if part.name == "trials":
        read = _trials(tree, read)
    if part.name == "device":
        read = read or {"name": ""}
    return dossier_from_dict({**tree, part.path: read})


def with_trial(dossier: Dossier, link: str, label: str, report_of: Report, *, today: str | None = None) -> Dossier:
    """The dossier with one more trial, added by its link; `today` is the day that its figures are said to be of.

    Raises
    ------
    BadSetup
        The link is none of a trial here, the trial is in already, or it is not clear which device is meant.
    """
    address = parse(link.strip())
    if address is None:
        raise BadSetup(f"{link.strip()[:60] or 'Nothing'} is no link of a trial; copy it from the trial's page.")
    path = trial_path(address.trial_id)
    if any(t.link == path for t in dossier.trials):
        raise BadSetup("This trial is in the dossier already; a trial is counted once.")
    report = report_of(address.trial_id)
    chosen = _label(dossier, report, label.strip())
    digest = digest_of(report, chosen)
    _refuse_twice(dossier, digest)
    names = {t.name for t in dossier.trials}
    title = digest["title"]
    name = title if len(title) <= MAX_TITLE else title[: MAX_TITLE - 1].rstrip() + "…"
    entry = TrialEntry(
        key=secrets.token_hex(KEY_BYTES), name=name if name not in names else f"{name} ({len(names) + 1})", label=chosen,
        digest=digest, day=(digest["start_utc"] or "")[:10] or None, link=path, taken=today,
    )  # fmt: skip
    found = incidents_in(report, chosen, trial=entry.name, before=_firmware_before(dossier, digest))
    new = replace(dossier, trials=(*dossier.trials, entry), incidents=(*dossier.incidents, *found))
    version = digest["firmware"]
    if version and version not in {f.version for f in dossier.firmware}:
        new = replace(new, firmware=(*dossier.firmware, Firmware(version=version[:MAX_NAME], since=entry.day)))
    return dossier_from_dict(new.to_dict())


def _refuse_twice(dossier: Dossier, digest: Mapping[str, Any]) -> None:
    """One recording in two trials is one ride: counted twice it would make the device look surer than it is."""
    mine = digest.get("recording_sha256")
    twin = next((t for t in dossier.trials if mine and t.digest.get("recording_sha256") == mine), None)
    if twin is not None:
        raise BadSetup(
            f"{twin.name} rests on the same recording of this device; a ride is counted once. Take that trial out first if this "
            "one is to stand for it."
        )


def _firmware_before(dossier: Dossier, digest: Mapping[str, Any]) -> str | None:
    """What the device had in the last trial ridden before this one."""
    start = digest["start_utc"]
    earlier = [t.digest for t in dossier.trials if start and t.digest["start_utc"] and t.digest["start_utc"] < start]
    known = [d for d in earlier if d["firmware"]]
    return max(known, key=lambda d: d["start_utc"])["firmware"] if known else None


def looked_at_again(
    dossier: Dossier, report_of: Report, *, today: str | None = None
) -> tuple[Dossier, tuple[str, ...]]:
    """Every trial's digest from its present result; a trial that cannot be opened keeps its old one and is named with why."""
    trials, troubles = [], []
    for entry in dossier.trials:
        address = parse(entry.link) if entry.link else None
        try:
            if address is None:
                raise BadSetup("it was added without a link")
            digest = digest_of(report_of(address.trial_id), entry.label)
        except CountercheckError as problem:
            troubles.append(f"{entry.name} stays as it was: {problem}")
            trials.append(entry)
            continue
        if digest == dict(entry.digest):
            trials.append(entry)
            continue
        moved = moved_verdicts(entry.name, entry.digest, digest)
        trials.append(replace(entry, digest=digest, earlier=dict(entry.digest) if moved else entry.earlier, taken=today))
    return replace(dossier, trials=tuple(trials)), tuple(troubles)


def with_answers(dossier: Dossier, answers: Mapping[str, Any]) -> Dossier:
    """The dossier with what was typed into the blanks of the checklist. Raises BadSetup."""
    given = {str(k): v.strip() for k, v in answers.items() if isinstance(v, str) and v.strip()}
    return dossier_from_dict({**dossier.to_dict(), "answers": given})


def _trials(tree: Mapping[str, Any], read: Any) -> list[dict[str, Any]]:
    """Rows of the form on top of the entries they belong to; an entry whose row is gone is taken out."""
    entries = {t["key"]: t for t in tree["trials"]}
    found = []
    for row in read:
        entry = entries.get(row.get("key"))
        if entry is None:
            raise BadSetup("A trial of this form is no longer in the dossier; reload the page and try again.")
        shown = {f.key: None for f in PARTS["trials"].fields if f.kind not in ("kept", "choice", "some")}
        found.append({**entry, **shown, **row})
    return found


def _label(dossier: Dossier, report: Mapping[str, Any], wanted: str) -> str:
    labels = [r["label"] for r in report["recordings"] if r["label"] != report["reference"]]
    for choice in (wanted, dossier.device.name):
        if choice in labels:
            return choice
    if len(labels) == 1 and not wanted:
        return labels[0]
    known = ", ".join(labels)
    raise BadSetup(f"Which device of the trial is under review? It has {known}; write its label beside the link.")
