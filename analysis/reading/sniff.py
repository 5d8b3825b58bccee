"""Which format is it? Told by the bytes, not by the name; what cannot be read is refused in one sentence."""

from __future__ import annotations

from analysis.errors import UnreadableFile

MAX_FILE_BYTES = 64 * 2**20  # a four-hour FIT file is 0.7 MB; 64 MB is far beyond any single ride
HEAD = 4096

ACCEPTED = "FIT or CSV"

# First bytes of things people drop by mistake -> what they are.
KNOWN_OTHERS = (
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"PK\x03\x04", "a zip archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"<", "an XML or HTML file"),
    (b"{", "a JSON file"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"SQLite format 3", "a database"),
)


def sniff(data: bytes, *, name: str) -> str:
    """Tell "fit" or "csv". Raises UnreadableFile for everything else, naming the file and what to do."""
    if not isinstance(data, (bytes, bytearray, memoryview)):
        raise UnreadableFile(f"{name}: expected the bytes of a file, got {type(data).__name__}.")
    if len(data) == 0:
        raise UnreadableFile(f"{name} is empty; export the recording again, or check that the download finished.")
    if len(data) > MAX_FILE_BYTES:
        raise UnreadableFile(
            f"{name} has {len(data) / 2**20:.0f} MB, the limit is {MAX_FILE_BYTES // 2**20} MB per file; "
            "a single ride is far smaller, check that it is the right one."
        )
    head = bytes(data[:HEAD])
    if head[8:12] == b".FIT" and head[0] >= 12:
        return "fit"
    text = _head_text(head)
    for magic, what in KNOWN_OTHERS:
        if head.startswith(magic) or text.lstrip().encode().startswith(magic):
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
    return not any(ord(c) < 32 and c not in "\t\n\f\r" for c in text)
