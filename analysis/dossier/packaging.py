"""A dossier as open data: a Frictionless data package (datapackage.json and CSV tables with units, licence and checksums).

Times count from the trial's first sample; no date of a day's clock, no place, no serial number, no heart rate leaves here.
Data Package standard: https://specs.frictionlessdata.io (tabular-data-package, version 1).
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.bench_sheet import measure
from analysis.cells import csv_text
from analysis.dossier.document import Dossier
from analysis.dossier.standing import trial_deltas
from analysis.trial import Trial

# Channels that a reader needs to check a delta; heart rate and altitude tell of the rider and of the place.
CHANNELS = {"power_w": ("W", 1), "cadence_rpm": ("1/min", 1), "temperature_degc": ("°C", 1)}
LICENCE_PAGES = {
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "ODC-BY-1.0": "https://opendatacommons.org/licenses/by/1-0/",
}


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a table: name (its unit at the end), type of the standard, unit and what it holds."""

    name: str
    type: str
    unit: str | None
    holds: str


@dataclass(frozen=True, kw_only=True)
class Table:
    """One CSV file of the package."""

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: Sequence[Sequence[Any]]


TEXT = "string"
TIMES = "Times count from each trial's first sample; percent are of the reference's mean."
DELTA_COLUMNS = (
    Column(name="trial", type=TEXT, unit=None, holds="trial, as the dossier names it"),
    Column(name="firmware", type=TEXT, unit=None, holds="firmware of the device under review"),
    Column(name="kind", type=TEXT, unit=None, holds="kind of the blocks: steady, transient, free, all"),
    Column(name="level_w", type="number", unit="W", holds="level, where the row is of one held level"),
    Column(name="delta_pct", type="number", unit="%", holds="device minus reference, of the reference's mean"),
    Column(name="low_pct", type="number", unit="%", holds="lower end of the 95 % interval over blocks"),
    Column(name="high_pct", type="number", unit="%", holds="upper end of the 95 % interval over blocks"),
    Column(name="blocks", type="integer", unit=None, holds="blocks behind it"),
)
BENCH_COLUMNS = (
    Column(name="device", type=TEXT, unit=None, holds="device that was measured"),
    Column(name="quantity", type=TEXT, unit=None, holds="what was measured"),
    Column(name="unit", type=TEXT, unit=None, holds="unit of the figures in this row"),
    Column(name="claimed", type="number", unit=None, holds="the maker's figure"),
    Column(name="tolerance", type="number", unit=None, holds="its stated tolerance"),
    Column(name="readings", type=TEXT, unit=None, holds="readings, separated by spaces"),
    Column(name="mean", type="number", unit=None, holds="mean of the readings"),
    Column(name="expanded", type="number", unit=None, holds="expanded uncertainty of the mean, 95 %"),
    Column(name="answer", type=TEXT, unit=None, holds="agrees, differs or cannot tell"),
)
INCIDENT_COLUMNS = tuple(
    Column(name=name, type=TEXT, unit=None, holds=holds)
    for name, holds in (
        ("day", "day, YYYY-MM-DD"), ("kind", "kind of incident"), ("what", "what happened"), ("tried", "what was tried"),
        ("helped", "what helped"), ("ended_with", "firmware that ended it"),
    )
)  # fmt: skip


def package_files(dossier: Dossier, samples: Mapping[str, Trial], *, version: str) -> dict[str, bytes]:
    """File name -> content; the CSV tables and, last, `datapackage.json` that describes them.

    samples : aligned trials by the key that the dossier gives them; those that are missing are left out.
    version : of the analysis.
    """
    tables = [t for t in (_deltas(dossier), _bench(dossier), _incidents(dossier), *_recordings(dossier, samples)) if t.rows]
    files = {f"data/{table.name}.csv": _csv(table) for table in tables}
    resources = [_resource(table, f"data/{table.name}.csv", files[f"data/{table.name}.csv"]) for table in tables]
    licence = {"name": dossier.licence, "path": LICENCE_PAGES[dossier.licence]} if dossier.licence in LICENCE_PAGES else None
    description = {
        "profile": "tabular-data-package",
        "name": _slug(dossier.title),
        "title": dossier.title,
        "description": f"Trials of {dossier.device.name}. {TIMES}{_without_samples(dossier, samples)}",
        **({"licenses": [licence]} if licence else {}),
        **({"contributors": [{"title": dossier.reviewer, "role": "author"}]} if dossier.reviewer else {}),
        "analysis_version": version,
        "resources": resources,
    }
    files["datapackage.json"] = json.dumps(description, ensure_ascii=False, indent=1, allow_nan=False).encode()
    return files


def _without_samples(dossier: Dossier, samples: Mapping[str, Trial]) -> str:
    names = [t.name for t in dossier.trials if t.key not in samples]
    return f" Without samples, because the trial could not be opened when this was made: {', '.join(names)}." if names else ""


def _deltas(dossier: Dossier) -> Table:
    rows = [
        (d.trial, d.firmware, d.kind, d.level_w, d.delta_pct, *d.ci_pct, d.blocks)
        for d in trial_deltas(dossier.trials)
    ]
    return Table(name="deltas", title="Deltas by trial, kind and level", columns=DELTA_COLUMNS, rows=rows)


def _bench(dossier: Dossier) -> Table:
    found = [(entry, measure(entry.row)) for entry in dossier.bench]
    rows = [
        (e.device, e.row.quantity, e.row.unit, e.row.claimed, e.row.tolerance, " ".join(f"{r:g}" for r in e.row.readings), m.mean,
         m.expanded, m.answer)
        for e, m in found
    ]  # fmt: skip
    return Table(name="bench", title="Claimed against measured", columns=BENCH_COLUMNS, rows=rows)


def _incidents(dossier: Dossier) -> Table:
    rows = [(i.day, i.kind, i.what, i.tried, i.helped, i.ended_with) for i in dossier.incidents]
    return Table(name="incidents", title="What went wrong", columns=INCIDENT_COLUMNS, rows=rows)


def _recordings(dossier: Dossier, samples: Mapping[str, Trial]) -> Iterable[Table]:
    """Every recording of every trial, its own samples on the trial's clock."""
    for n, entry in enumerate(dossier.trials, start=1):
        trial = samples.get(entry.key)
        for i, recording in enumerate(trial.recordings if trial is not None else (), start=1):
            held = [name for name in CHANNELS if name in recording.channels and np.isfinite(recording.channels[name]).any()]
            time = Column(name="time_s", type="number", unit="s", holds="seconds since the trial's first sample")
            columns = [Column(name=name, type="number", unit=CHANNELS[name][0], holds="as recorded") for name in held]
            series = [np.round(recording.time_s - trial.start_s, 2)]
            series += [np.round(recording.channels[name], CHANNELS[name][1]) for name in held]
            yield Table(
                name=f"trial-{n:02d}-recording-{i}", title=f"{entry.name}: {recording.label}", columns=(time, *columns),
                rows=list(zip(*(s.tolist() for s in series), strict=True)),
            )  # fmt: skip


def _csv(table: Table) -> bytes:
    return csv_text([c.name for c in table.columns], table.rows).encode()


def _resource(table: Table, path: str, data: bytes) -> dict[str, Any]:
    fields = [
        {"name": c.name, "type": c.type, "description": c.holds, **({"unit": c.unit} if c.unit else {})} for c in table.columns
    ]
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "title": table.title,
        "path": path,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "schema": {"fields": fields, "missingValues": [""]},
    }


def _slug(title: str) -> str:
    """A name that the standard allows: lower-case letters, figures, hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:60] or "dossier"
