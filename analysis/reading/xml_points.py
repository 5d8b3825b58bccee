"""Rows of leaf texts out of an XML file, by local names, in one pass that keeps no tree.

`defusedxml` refuses document types and entities, so nothing can expand and nothing outside is fetched. A file that breaks
off gives the rows before the break.
"""

from __future__ import annotations

import xml.sax
from collections.abc import Mapping
from dataclasses import dataclass, field
from xml.sax.handler import ContentHandler

import numpy as np
import pandas as pd
from defusedxml import DefusedXmlException
from defusedxml.expatreader import create_parser

from analysis.errors import UnreadableFile

CHUNK = 2**20
MAX_TEXT = 80  # characters of a leaf; no number and no time stamp is longer


@dataclass(frozen=True, kw_only=True)
class Points:
    """texts: column -> (row numbers, texts); n_rows rows were opened; other: texts outside rows, in order.

    problem : "" or, in words, why the file ended early.
    """

    n_rows: int
    texts: dict[str, tuple[list[int], list[str]]]
    other: dict[str, list[str]] = field(default_factory=dict)
    problem: str = ""

    def numbers(self, column: str) -> np.ndarray:
        """Column as floats, NaN where a row lacks it or it is no number; shape (n_rows,)."""
        out = np.full(self.n_rows, np.nan)
        rows, texts = self.texts.get(column, ([], []))
        if rows:
            try:
                values = np.array(texts, dtype=float)
            except ValueError:
                values = pd.to_numeric(pd.Series(texts), errors="coerce").to_numpy(dtype=float)
            out[np.array(rows)] = np.where(np.isfinite(values), values, np.nan)
        return out

    def stamps(self, column: str) -> tuple[np.ndarray, bool]:
        """Column of ISO 8601 times as Unix seconds, and whether every one named its zone (else taken as UTC)."""
        out = np.full(self.n_rows, np.nan)
        rows, texts = self.texts.get(column, ([], []))
        if not rows:
            return out, True
        seconds = unix_seconds(texts)
        out[np.array(rows)] = seconds
        return out, all(_names_zone(t) for t in texts)


def unix_seconds(texts: list[str]) -> np.ndarray:
    """ISO 8601 texts as Unix seconds, NaN where one is none."""
    stamps = pd.to_datetime(pd.Series(texts, dtype="object").str.strip(), format="ISO8601", utc=True, errors="coerce")
    seconds = stamps.astype("datetime64[ns, UTC]").astype("int64").to_numpy() / 1e9
    return np.where(stamps.notna(), seconds, np.nan)


def read_points(data: bytes, *, row: str, leaves: Mapping[str, str], other: Mapping[str, str], name: str) -> Points:
    """Collect leaves inside every element `row`, and `other` leaves outside them; all by local name.

    leaves, other : local element name, or "parent/name" where the name alone is not enough -> column.

    Raises UnreadableFile when the file declares a document type or entities.
    """
    handler = _Handler(row, leaves, other)
    parser = create_parser(forbid_dtd=True)
    parser.setContentHandler(handler)
    problem = ""
    data = data.lstrip()  # some exports begin with blanks, which XML does not allow before its declaration
    try:
        for start in range(0, len(data), CHUNK):
            parser.feed(data[start : start + CHUNK])
        parser.close()
    except DefusedXmlException:
        raise UnreadableFile(f"{name} declares a document type or entities, which no recording needs; export it again.") from None
    except xml.sax.SAXParseException as broken:
        problem = f"line {broken.getLineNumber()}"
    except (ValueError, LookupError):  # an encoding that nobody knows
        problem = "its first line"
    return Points(n_rows=handler.n_rows, texts=handler.texts, other=handler.other, problem=problem)


class _Handler(ContentHandler):
    """Appends texts straight to the columns; knows only the names it was told."""

    def __init__(self, row: str, leaves: Mapping[str, str], other: Mapping[str, str]) -> None:
        super().__init__()
        self.n_rows = 0
        self.texts: dict[str, tuple[list[int], list[str]]] = {column: ([], []) for column in leaves.values()}
        self.other: dict[str, list[str]] = {column: [] for column in other.values()}
        self._row, self._leaves, self._other = row, leaves, other
        self._inside = False
        self._parent = ""
        self._open: list[str] | None = None  # where the text of the open leaf goes

    def startElement(self, name: str, attrs: object) -> None:
        local = name.rpartition(":")[2]
        self._open = None
        if local == self._row:
            self._inside = True
            self.n_rows += 1
        known = self._leaves if self._inside else self._other
        column = known.get(local) or known.get(f"{self._parent}/{local}")
        if column is not None and self._inside:
            rows, texts = self.texts[column]
            if not rows or rows[-1] != self.n_rows - 1:  # the first of two in one row counts
                rows.append(self.n_rows - 1)
                texts.append("")
                self._open = texts
        elif column is not None:
            self.other[column].append("")
            self._open = self.other[column]
        self._parent = local

    def characters(self, content: str) -> None:
        if self._open is not None and len(self._open[-1]) < MAX_TEXT:
            self._open[-1] += content

    def endElement(self, name: str) -> None:
        self._open = None
        if self._inside and name.rpartition(":")[2] == self._row:
            self._inside = False


def _names_zone(text: str) -> bool:
    tail = text.strip()[-6:]
    return tail[-1:] in ("Z", "z") or "+" in tail or ("-" in tail and ":" in tail)
