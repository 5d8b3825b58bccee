"""FIT in whole columns with numpy: walk the headers, then gather each field of all messages of one layout at once.

Same content as `fit_fitparse.decode_part`, which is its referee in the tests and its stand-in where it fails.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from analysis.reading.fit_content import PLACE_FIELDS, WANTED, DeveloperField, FitContent, LostStretch, PartContent
from analysis.reading.fit_mend import Break, walk_on
from analysis.reading.fit_parts import Part
from analysis.reading.fit_profile import (
    FIELD_DESCRIPTION,
    RECORD,
    TIMESTAMP,
    Base,
    Known,
    base_of,
    fields_of,
    message_number,
)
from analysis.reading.fit_values import (
    PACKED,
    ROLLING_WORK,
    physical,
    scaled,
    typed,
    unpack_speed_distance,
    unroll_accumulated_power,
)
from analysis.reading.fit_walk import COMPRESSED, Layout, walk

MAX_ARRAY = 4  # longer arrays in `record` are raw sensor bursts, not values of the second
MAX_ROWS = 20_000  # of any message but `record`; a gear change every second of five hours
MAX_DEVELOPER_FIELDS = 32  # columns; real files have up to 21, and every one costs memory
CLOCK_BITS = 0x1F


def decode_part(data: bytes, part: Part, wanted: frozenset[str] | None, *, max_records: int) -> PartContent:
    """Decode one part; `wanted` limits the `record` columns by profile name, None takes all.

    Beyond `max_records` samples nothing is decoded: `problem` is then "long".
    """
    if part.checksum_ok:
        found, breaks = walk(data, part.start, part.end, {}, {}), ()
    else:
        found, breaks = walk_on(data, part.start, part.end)
    if sum(sum(layout.counts) for layout in found.layouts if layout.message == RECORD) > max_records:
        return PartContent(content=FitContent(n_records=0, records={}), reached=found.reached, problem="long")
    decoder = _PartDecoder(data, found.layouts, wanted)
    content = decoder.content()
    return PartContent(
        content=content,
        reached=found.reached,
        problem=found.problem,
        n_misfits=_misfits(found.layouts),
        breaks=tuple(_told(b, decoder.order, content.records.get("timestamp")) for b in breaks),
    )


def _told(found: Break, order: np.ndarray, stamps: np.ndarray | None) -> LostStretch:
    """A break in terms of the ride: where it begins and how long it lasts."""
    after = int(np.searchsorted(order, found.resumed))
    place_s = lost_s = 0.0
    if stamps is not None and 0 < after < len(stamps):
        place_s, lost_s = float(stamps[after - 1] - stamps[0]), float(stamps[after] - stamps[after - 1])
    return LostStretch(at=found.at, resumed=found.resumed, place_s=place_s, lost_s=lost_s)


def _misfits(layouts: tuple[Layout, ...]) -> int:
    """Fields whose declared size is no multiple of their type's; they hold nothing that can be read."""
    return sum(size % base_of(code).size != 0 for layout in layouts if layout.starts for _, size, code in layout.fields)


class _PartDecoder:
    """Columns and rows of one part; local definitions and developer descriptions do not reach beyond it."""

    def __init__(self, data: bytes, layouts: tuple[Layout, ...], wanted: frozenset[str] | None) -> None:
        self.bytes = np.frombuffer(data, dtype=np.uint8)
        self.layouts = layouts
        self.wanted = wanted
        self.records = [(layout, layout.positions()) for layout in layouts if layout.message == RECORD]
        self.order = np.sort(np.concatenate([p for _, p in self.records])) if self.records else np.zeros(0, np.int64)
        self.n_records = len(self.order)

    def content(self) -> FitContent:
        described = self._descriptions()
        columns: dict[str, np.ndarray] = {}
        developer: dict[tuple[int, int], np.ndarray] = {}
        for layout, positions in self.records:
            if not len(positions):
                continue
            rows = slice(None) if len(positions) == self.n_records else np.searchsorted(self.order, positions)
            block = self._block(layout, positions)
            for name, values in self._native(layout, block):
                self._put(columns, name, rows, values)
            for key, values in self._added(layout, block, described):
                self._put(developer, key, rows, values)
        self._compressed_stamps(columns)
        unpack_speed_distance(columns, self.wanted)
        unroll_accumulated_power(columns, self.wanted)
        return FitContent(
            n_records=self.n_records,
            records=columns,
            developer=tuple(
                DeveloperField(name=described[k][0], units=described[k][1], native_field_num=described[k][2], values=v)
                for k, v in developer.items()
            ),
            messages=self._messages(),
        )

    def _put(self, columns: dict, key: Any, rows: slice | np.ndarray, values: np.ndarray) -> None:
        """Write one layout's values into the column; a layout that covers every row needs no NaN column."""
        if isinstance(rows, slice):
            columns.setdefault(key, values)
            return
        column = columns.get(key)
        if column is None:
            column = columns[key] = np.full(self.n_records, np.nan)
        column[rows] = values

    def _block(self, layout: Layout, positions: np.ndarray) -> np.ndarray:
        """The messages of one layout as rows of bytes, shape (n, size)."""
        size = layout.size
        if len(layout.starts) == 1 and layout.strides[0] == size and len(positions) == layout.counts[0]:
            start = layout.starts[0]
            return self.bytes[start : start + size * len(positions)].reshape(-1, size)
        windows = np.lib.stride_tricks.as_strided(
            self.bytes, shape=(len(self.bytes) - size + 1, size), strides=(1, 1), writeable=False
        )
        return windows[positions]

    def _native(self, layout: Layout, block: np.ndarray) -> Iterator[tuple[str, np.ndarray]]:
        """(column name, float values) per numeric field of the profile."""
        known = fields_of(layout.message)
        at = 1
        for number, size, code in layout.fields:
            offset, at = at, at + size
            field = known.get(number)
            base = base_of(code)
            if field is None or field.name in PLACE_FIELDS or size == 0 or size % base.size:
                continue
            if field.name == PACKED and size == 3:
                if self.wanted is None or self.wanted & {"speed", "distance"}:
                    packed = block[:, offset : offset + 3] @ np.array([1, 1 << 8, 1 << 16])
                    yield PACKED, np.where(packed == 0xFFFFFF, np.nan, packed)
                continue
            count = size // base.size
            if base.letter in "SV" or count > MAX_ARRAY or not self._is_wanted(field.name):
                continue
            values = typed(block, offset, size, base, layout.big_endian)
            for i in range(count):
                label = field.name if count == 1 else f"{field.name}_{i}"
                yield label, physical(values[:, i], base, field)

    def _is_wanted(self, name: str) -> bool:
        if self.wanted is None or name in self.wanted:
            return True
        return name == ROLLING_WORK and "accumulated_power" in self.wanted

    def _added(self, layout: Layout, block: np.ndarray, described: dict) -> Iterator[tuple[tuple, np.ndarray]]:
        """((developer index, field number), float values) per described numeric field of an application."""
        at = 1 + sum(size for _, size, _ in layout.fields)
        for number, size, index in layout.developer:
            offset, at = at, at + size
            about = described.get((index, number))
            if about is None or about[3].letter in "SV" or size != about[3].size:
                continue
            values = typed(block, offset, size, about[3], layout.big_endian)
            yield (index, number), physical(values[:, 0], about[3], Known("", 0.0, 0.0))

    def _descriptions(self) -> dict[tuple[int, int], tuple[str, str | None, int | None, Base]]:
        """(developer index, field number) -> name, units, native field number, base type."""
        described = {}
        for row in self._rows(FIELD_DESCRIPTION, None):
            key = (row.get("developer_data_index"), row.get("field_definition_number"))
            if None in key or row.get("fit_base_type_id") is None:
                continue
            label = row.get("field_name") or f"unnamed field {key[1]}"
            described[key] = (label, row.get("units"), row.get("native_field_num"), base_of(row["fit_base_type_id"]))
        if len(described) > MAX_DEVELOPER_FIELDS:  # those that stand for a field of the profile first
            kept = sorted(described, key=lambda k: described[k][2] is None)[:MAX_DEVELOPER_FIELDS]
            described = {key: described[key] for key in kept}
        return described

    def _messages(self) -> dict[str, list[dict[str, Any]]]:
        found = {}
        present = {layout.message for layout in self.layouts if layout.counts}
        for name, wanted in WANTED.items():
            number = message_number(name)
            if number in present:
                found[name] = self._rows(number, frozenset(wanted))
        return found

    def _rows(self, message: int, wanted: frozenset[str] | None) -> list[dict[str, Any]]:
        """Messages of one kind as dicts in the order of the file; values that were not recorded are left out."""
        rows: list[tuple[int, dict[str, Any]]] = []
        for layout in self.layouts:
            if layout.message != message or not layout.counts:
                continue
            positions = layout.positions()[:MAX_ROWS]
            found: list[dict[str, Any]] = [{} for _ in positions]
            block = self._block_small(layout, positions)
            for name, values in self._row_values(layout, block, wanted):
                for row, value in zip(found, values, strict=True):
                    if value is not None:
                        row[name] = value
            rows += zip(positions.tolist(), found, strict=True)
        rows.sort(key=lambda pair: pair[0])
        return [row for _, row in rows[:MAX_ROWS]]

    def _block_small(self, layout: Layout, positions: np.ndarray) -> np.ndarray:
        return self.bytes[positions[:, None] + np.arange(layout.size)]

    def _row_values(self, layout: Layout, block: np.ndarray, wanted: frozenset[str] | None) -> Iterator[tuple[str, list]]:
        known = fields_of(layout.message)
        at = 1
        for number, size, code in layout.fields:
            offset, at = at, at + size
            field, base = known.get(number), base_of(code)
            if field is None or size == 0 or size % base.size or (wanted is not None and field.name not in wanted):
                continue
            if base.letter == "S":
                texts = (row.tobytes().split(b"\0")[0].decode("utf-8", "replace") for row in block[:, offset:at])
                yield field.name, [t or None for t in texts]
            elif base.letter != "V" and size == base.size:
                values = typed(block, offset, size, base, layout.big_endian)[:, 0].tolist()
                yield field.name, [scaled(v, base, field) for v in values]

    def _compressed_stamps(self, columns: dict[str, np.ndarray]) -> None:
        """Stamps of five bits count on from the last full stamp of any message, or from each other."""
        if not len(self.order):
            return
        short = self.bytes[self.order] & COMPRESSED != 0
        if not short.any():
            return
        at, full = self._full_stamps()
        column = columns.setdefault("timestamp", np.full(self.n_records, np.nan))
        everything = np.concatenate([layout.positions() for layout in self.layouts])
        everything = np.sort(everything[self.bytes[everything] & COMPRESSED != 0])
        low = (self.bytes[everything] & CLOCK_BITS).tolist()
        before = np.searchsorted(at, everything).tolist()
        stamps, now, used = [], 0, 0
        for bits, n_before in zip(low, before, strict=True):
            if n_before > used:
                now, used = int(full[n_before - 1]), n_before
            now = now + ((bits - now) & CLOCK_BITS)
            stamps.append(now)
        column[short] = np.array(stamps, dtype=float)[np.searchsorted(everything, self.order[short])]

    def _full_stamps(self) -> tuple[np.ndarray, np.ndarray]:
        """Positions and values of every full stamp of any message, in the order of the file."""
        where, values = [np.zeros(0, np.int64)], [np.zeros(0)]
        for layout in self.layouts:
            at = 1
            for number, size, code in layout.fields:
                offset, at = at, at + size
                if number == TIMESTAMP and size == 4 and base_of(code).letter == "u4" and layout.counts:
                    positions = layout.positions()
                    stamps = typed(self._block_small(layout, positions), offset, 4, base_of(code), layout.big_endian)[:, 0]
                    sound = stamps != 0xFFFFFFFF
                    where.append(positions[sound])
                    values.append(stamps[sound].astype(float))
        at_all, stamps_all = np.concatenate(where), np.concatenate(values)
        order = np.argsort(at_all)
        return at_all[order], stamps_all[order]
