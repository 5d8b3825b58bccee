"""`countercheck compare`: files in, result out, without the server. Problems become sentences, never tracebacks."""

from __future__ import annotations

import json
import sys
import textwrap
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from analysis.errors import CountercheckError, UnreadableFile
from analysis.reading import bundle
from analysis.reading.naming import clean_name
from analysis.setup import Setup, setup_from_toml
from app import tables
from app.engine import Engine, real_engine
from app.intake import Source, unique_names
from app.outcome import outcome_of

WIDTH = 100


class UnusablePath(CountercheckError):
    """A path on the command line cannot be read or written."""


@dataclass(frozen=True, kw_only=True)
class Request:
    """What the command line asks for; `files` are recordings, plain or `.gz`, and `.zip` archives of them."""

    files: tuple[str, ...]
    setup: str | None = None
    reference: str | None = None
    json_out: str | None = None
    html_out: str | None = None
    csv_out: str | None = None


def run(request: Request, *, engine: Engine | None = None) -> int:
    """Compare, write and print; returns the exit code: 0 with a result, 2 without."""
    engine = engine or real_engine()
    try:
        outputs = _outputs(request)
        comparison, complaints = _compared(request, engine)
        report = comparison.to_dict()
        texts = {path: _rendered(kind, comparison, report) for kind, path in outputs.items()}
        for path, text in texts.items():
            _write(path, text)
    except CountercheckError as problem:
        _forget_progress()
        print(problem, file=sys.stderr)
        return 2
    _forget_progress()
    for sentence in complaints:
        print(f"warning: {sentence}", file=sys.stderr)
    if request.json_out is None and request.html_out is None:
        print(printed(report, without=complaints))
    return 0


def printed(report: Mapping[str, Any], *, without: Collection[str] = ()) -> str:
    """Headline, warnings (less those already said) and delta table, for a terminal of `WIDTH` columns."""
    sentences = [report["headline"], report.get("second_sentence") or ""]
    parts = [textwrap.fill(" ".join(s for s in sentences if s), WIDTH)]
    warnings = [w for w in report.get("warnings", ()) if w not in without]
    warnings += [f"{r['label']}: {w}" for r in report["recordings"] for w in r["warnings"]]
    if warnings:
        parts.append("\n".join(textwrap.fill(f"note: {w}", WIDTH, subsequent_indent="      ") for w in warnings))
    against = f"Device minus reference ({report['reference']}), in W and in % of the reference's mean:"
    parts.append(textwrap.fill(against, WIDTH))
    for columns, rows in (
        (tables.SUMMARY_COLUMNS, tables.summary_rows(report)),
        (tables.BLOCK_COLUMNS, tables.block_rows(report)),
    ):
        if rows:
            parts.append(tables.aligned(columns, rows, width=WIDTH))
    return "\n\n".join(parts)


def read_bytes(path: Path) -> bytes:
    """A file's bytes. Raises UnusablePath with the sentence for what stands in the way."""
    try:
        if path.is_dir():
            raise UnusablePath(f"{path} is a folder; name the files in it.")
        return path.read_bytes()
    except FileNotFoundError:
        raise UnusablePath(f"{path} does not exist; check the path.") from None
    except PermissionError:
        raise UnusablePath(f"{path} may not be read by you; change its permissions or copy it.") from None
    except OSError as problem:
        raise UnusablePath(f"{path} cannot be read ({problem.strerror or problem}); check the path.") from None
    except ValueError:
        raise UnusablePath(f"{str(path)!r} is not a path; check how it was typed.") from None


def read_setup(path: Path) -> Setup:
    """Raises UnusablePath or BadSetup."""
    try:
        return setup_from_toml(read_bytes(path).decode("utf-8-sig"), name=path.name)
    except UnicodeDecodeError:
        raise UnusablePath(f"{path} is not text in UTF-8; save it as UTF-8 and run again.") from None


def _compared(request: Request, engine: Engine) -> tuple[Any, tuple[str, ...]]:
    given = [one for path in request.files for one in _files_at(path)]
    names = unique_names(called for called, _ in given)
    setup = read_setup(Path(request.setup)) if request.setup else Setup()
    setup = _naming_files(setup, dict(reversed([(called, name) for (called, _), name in zip(given, names, strict=True)])))
    if request.reference is not None:
        setup = replace(setup, reference=request.reference)
    sources = [
        Source(name=name, load=partial(_load, content, name, engine))
        for (_, content), name in zip(given, names, strict=True)
    ]
    comparison, complaints = outcome_of(sources, setup, engine, _show_progress)
    return comparison, complaints


def _files_at(path: str) -> list[tuple[str, Path | bundle.Member]]:
    """What a path of the command line stands for: itself, to be read in its turn, or every file of a `.zip`."""
    try:
        with Path(path).open("rb") as file:
            packed = bundle.is_zip(file.read(4))
    except (OSError, ValueError):
        packed = False  # the reading says what is wrong with it
    if not packed:
        return [(path, Path(path))]
    return [(member.name, member) for member in bundle.unpack(read_bytes(Path(path)), name=clean_name(path))]


def _load(content: Path | bundle.Member, name: str, engine: Engine) -> Any:
    if isinstance(content, Path):
        (content,) = bundle.unpack(read_bytes(content), name=name)
    if content.problem:
        raise content.problem
    if not content.data:
        raise UnreadableFile(f"{name} is empty; copy the file from the device again.")
    return engine.read(content.data, name=name)


def _naming_files(setup: Setup, names: Mapping[str, str]) -> Setup:
    """The set-up may name a file by the path given; inside, recordings go by their name alone."""

    def name_of(file: str | None) -> str | None:
        if file is None or file in names.values():
            return names.get(file, file) if file is not None else None
        return names.get(file) or (clean_name(file) if clean_name(file) in names.values() else file)

    return replace(setup, devices=tuple(replace(d, file=name_of(d.file)) for d in setup.devices))


def _outputs(request: Request) -> dict[str, Path]:
    """Where to write, checked before any work: a folder that exists, and never over a recording."""
    asked = {"json": request.json_out, "html": request.html_out, "csv": request.csv_out}
    outputs = {kind: Path(path) for kind, path in asked.items() if path is not None}
    inputs = [Path(p) for p in (*request.files, *([request.setup] if request.setup else []))]
    for path in outputs.values():
        if path.is_dir():
            raise UnusablePath(f"{path} is a folder; name the file to be written.")
        if not path.parent.is_dir():
            raise UnusablePath(f"{path} cannot be written: the folder {path.parent} does not exist; make it first.")
        if any(_same(path, other) for other in inputs):
            raise UnusablePath(f"{path} is one of the files to be read and is not overwritten; name another output.")
    if len({p.absolute() for p in outputs.values()}) < len(outputs):
        raise UnusablePath("Two outputs have the same name; give each its own.")
    return outputs


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return False


def _rendered(kind: str, comparison: Any, report: Mapping[str, Any]) -> str:
    if kind == "json":
        return json.dumps(report, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    if kind == "csv":
        return tables.deltas_csv(report)
    # the page's views, which nothing else on the command line needs
    from analysis.archive import OpenTrial
    from app.offline import offline_report

    return offline_report(OpenTrial(report=report, trial=comparison.trial))


def _write(path: Path, text: str) -> None:
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            file.write(text)
    except OSError as problem:
        raise UnusablePath(f"{path} cannot be written ({problem.strerror or problem}); name another file.") from None


def _show_progress(stage: str, done_frac: float) -> None:
    if sys.stderr.isatty():
        print(f"\r\x1b[K{done_frac:4.0%} {stage}"[:WIDTH], end="", file=sys.stderr, flush=True)


def _forget_progress() -> None:
    if sys.stderr.isatty():
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)
