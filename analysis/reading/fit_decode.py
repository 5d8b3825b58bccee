"""FIT files part by part, through one of two decoders: judges how each part ended and joins what is sound."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from analysis.errors import CountercheckError, UnreadableFile
from analysis.reading import fit_columns, fit_fitparse
from analysis.reading.fit_content import DeveloperField, FitContent, PartContent
from analysis.reading.fit_parts import Part, find_parts
from analysis.reading.limits import MAX_SAMPLES
from analysis.reading.phrases import place

# When the structure is lost before this share of a part, the rest is not worth a comparison; our choice, no source.
MIN_SOUND_SHARE = 0.5
MAX_PARTS = 100
# The slow decoder takes about 2.5 s per MB; above this it would cross the ceiling of 5 s per file.
MAX_SLOW_BYTES = 2 * 2**20


def decode(data: bytes, *, name: str, fields: Iterable[str] | None = None) -> FitContent:
    """Decode a FIT file in columns; `fields` limits the `record` columns by profile name (the stamp comes along).

    Raises UnreadableFile when there is no header, when the structure is lost before half of it was read, or when a
    ceiling is crossed.
    """
    wanted = None if fields is None else frozenset(fields) | {"timestamp"}

    def columnar(part: Part, max_records: int) -> PartContent:
        return fit_columns.decode_part(data, part, wanted, max_records=max_records)

    try:
        return _decode_with(columnar, data, name)
    except CountercheckError:
        raise
    except Exception:  # a file that the columnar decoder cannot place must not cost the reviewer the recording
        if len(data) > MAX_SLOW_BYTES:
            raise UnreadableFile(f"{name} has a structure that cannot be read; export the ride again.") from None
        return decode_slowly(data, name=name)


def decode_slowly(data: bytes, *, name: str) -> FitContent:
    """The same through `fitparse`, some 300 times slower. Raises UnreadableFile alike."""
    return _decode_with(lambda part, _: fit_fitparse.decode_part(data, part), data, name)


def _decode_with(decode_part: Callable[[Part, int], PartContent], data: bytes, name: str) -> FitContent:
    parts, warnings = find_parts(data, name=name)
    contents: list[FitContent] = []
    n_misfits = 0
    for number, part in enumerate(parts, start=1):
        decoded = decode_part(part, MAX_SAMPLES - sum(c.n_records for c in contents))
        if decoded.problem == "long" or number > MAX_PARTS:
            raise UnreadableFile(
                f"{name} holds more than {MAX_SAMPLES:,} samples or messages without end; give the file of one ride."
            )
        n_misfits += decoded.n_misfits
        contents.append(_judged(decoded, part, number, len(data), name, warnings))
    if n_misfits:
        fields = "1 field declares" if n_misfits == 1 else f"{n_misfits} fields declare"
        warnings.append(f"{fields} a size that does not fit the type; skipped, the rest is sound.")
    return _joined(contents, warnings)


def _judged(decoded: PartContent, part: Part, number: int, n_bytes: int, name: str, warnings: list[str]) -> FitContent:
    """What of a part is kept, after how it ended. Raises UnreadableFile when too little of the file is sound."""
    content = decoded.content
    broken = decoded.problem == "lost" or bool(decoded.breaks)
    sound = decoded.reached - part.start - sum(b.resumed - b.at for b in decoded.breaks)
    if broken and number == 1 and sound < MIN_SOUND_SHARE * (part.end - part.start):
        at = decoded.breaks[0].at if decoded.breaks else decoded.reached
        raise UnreadableFile(
            f"{name}: the structure is lost at byte {at} of {n_bytes} ({100 * at / n_bytes:.0f} %), so what follows cannot be "
            "trusted; copy the file again from the device as a binary file."
        )
    for lost in decoded.breaks:
        warnings.append(
            f"The structure is broken from byte {lost.at} to {lost.resumed}: {lost.lost_s:.0f} s after "
            f"{place(lost.place_s)} are lost, what follows was found again."
        )
    where = f"byte {decoded.reached} of {n_bytes}"
    if decoded.problem == "lost":
        lost = _lost(content, sound, part.end - decoded.reached)
        warnings.append(f"The structure is lost at {where}; {content.n_records} samples before it were kept{lost}.")
    elif decoded.problem == "cut":
        lost = _lost(content, sound, part.missing)
        warnings.append(f"The file ends inside a message (at {where}); {content.n_records} samples before it were kept{lost}.")
    elif part.missing:
        warnings.append(f"The file ends before its checksum; all {content.n_records} samples before it were kept.")
    elif part.unfinished:
        warnings.append(f"The recorder never closed the file; {content.n_records} samples were kept.")
    return content


def _lost(content: FitContent, sound_bytes: int, lost_bytes: int) -> str:
    """What is missing, in seconds and from where, reckoned from the bytes; "" where it comes to less than a second."""
    stamps = content.records.get("timestamp", np.zeros(0))
    stamps = stamps[np.isfinite(stamps)]
    if stamps.size < 2 or sound_bytes <= 0:
        return ""
    ridden_s = int(stamps[-1] - stamps[0])
    lost_s = ridden_s * lost_bytes / sound_bytes
    if lost_s < 1 or ridden_s < 0:
        return ""
    return f"; about {lost_s:.0f} s after {place(ridden_s)} are lost"


def _joined(contents: list[FitContent], warnings: list[str]) -> FitContent:
    """Parts one after the other; a column that a part lacks is NaN there."""
    first = contents[0]
    if len(contents) == 1:
        return replace(first, warnings=tuple(warnings))
    n_total = sum(c.n_records for c in contents)
    starts = np.cumsum([0] + [c.n_records for c in contents])
    records: dict[str, np.ndarray] = {}
    developer: dict[tuple, DeveloperField] = {}
    messages: dict[str, list] = {}
    for start, content in zip(starts, contents, strict=False):
        rows = slice(start, start + content.n_records)
        for name, values in content.records.items():
            records.setdefault(name, np.full(n_total, np.nan))[rows] = values
        for field in content.developer:
            key = (field.name, field.units, field.native_field_num)
            if key not in developer:
                developer[key] = replace(field, values=np.full(n_total, np.nan))
            developer[key].values[rows] = field.values
        for name, found in content.messages.items():
            messages.setdefault(name, []).extend(found)
    return FitContent(
        n_records=n_total,
        records=records,
        developer=tuple(developer.values()),
        messages=messages,
        n_parts=len(contents),
        warnings=tuple(warnings),
    )
