"""Which format is it? Told by the bytes, not by the name; what cannot be read is refused in one sentence."""

from __future__ import annotations

import re

from analysis.errors import UnreadableFile
from analysis.reading.limits import MAX_FILE_BYTES, megabytes

HEAD = 4096
ACCEPTED = "FIT, TCX, GPX or CSV, plain, as .gz or in a .zip"
XML_ROOTS = (("tcx", "TrainingCenterDatabase"), ("gpx", "gpx"))

# First bytes of things people drop by mistake -> what they are.
KNOWN_OTHERS = (
    ("%PDF", "a PDF document"),
    ("\x89PNG", "a picture"),
    ("\xff\xd8\xff", "a picture"),
    ("GIF8", "a picture"),
    ("PK\x03\x04", "an archive inside an archive"),
    ("\x1f\x8b", "an archive inside an archive"),
    ("<", "an XML or HTML file of another kind"),
    ("{", "a JSON file"),
    ("\x7fELF", "a program"),
    ("MZ", "a program"),
    ("SQLite format 3", "a database"),
)


def sniff(data: bytes, *, name: str) -> str:
    """Tell "fit", "tcx", "gpx" or "csv". Raises UnreadableFile for everything else, saying what it is and what to do."""
    if len(data) == 0:
        raise UnreadableFile(f"{name} is empty; export the recording again, or check that the download finished.")
    if len(data) > MAX_FILE_BYTES:
        raise UnreadableFile(
            f"{name} has {megabytes(len(data))}, the limit is {megabytes(MAX_FILE_BYTES)} per file; "
            "a single ride is far smaller, check that it is the right one."
        )
    head = data[:HEAD]
    if head[8:12] == b".FIT" and head[0] >= 12:
        return "fit"
    text = _head_text(head)
    for format, root in XML_ROOTS:
        if re.search(rf"<(\w+:)?{root}[\s>]", text):
            return format
    for magic, what in KNOWN_OTHERS:
        if text.lstrip().startswith(magic):
            raise UnreadableFile(f"{name} is {what}, not a recording; give the recording as {ACCEPTED}.")
    if name.lower().endswith(".fit"):
        raise UnreadableFile(f"{name} is called .fit but has no FIT header; copy it again from the device.")
    if not _is_text(text):
        raise UnreadableFile(f"{name} is not a recording we can read; give it as {ACCEPTED}.")
    return "csv"


def _head_text(head: bytes) -> str:
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return head.decode("utf-16", errors="ignore")
    return head.removeprefix(b"\xef\xbb\xbf").decode("latin-1")


def _is_text(text: str) -> bool:
    """Text has printable signs, tabs and line ends only; any other control sign means something binary."""
    return re.search(r"[\x00-\x08\x0b\x0e-\x1f]", text) is None
