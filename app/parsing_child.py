"""The child that reads uploads: bytes in through one pipe, packed recordings out through another; it opens no file.

Run by `app.parsing` as `python -m app.parsing_child`. It may not write to any disk (a limit of the system sees to that, so
that positions and names cannot end there, nor in a core dump), has a bounded memory and a bounded time per upload.
"""

from __future__ import annotations

import gc
import os
import sys
import traceback
from typing import Any

from analysis import reading
from analysis.errors import CountercheckError, UnreadableFile
from analysis.reading import bundle, packed
from app import parsing_frames as frames
from app.carrying import opening
from app.intake import check_usable

try:
    import resource
except ImportError:  # Windows has no such limits; the parent's clock still holds there
    resource = None  # type: ignore[assignment]

# Beside what a child weighs when it has loaded its libraries: address space is counted, and some is only reserved.
MIB = 2**20


def main() -> int:
    """Read what is sent until the pipe is closed."""
    incoming, outgoing = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_RDWR), 0)
    os.dup2(2, 1)  # whatever a library prints must not end between the frames
    _warm_up()
    limits = frames.read(incoming)[0]
    _bound(limits)
    while True:
        try:
            about, data = frames.read(incoming)
        except frames.BrokenFrame:
            return 0
        _more_time(limits["read_s"])
        if not answer(outgoing, about, data):
            return 1
        del data
        gc.collect()  # the next upload's memory is counted from here


def answer(outgoing: Any, about: dict[str, Any], data: bytes) -> bool:
    """One frame with the names in an upload, one for each file in it from number `first` on, one at the end. Of a whole trial:
    one for each recording, one with the rest of it at the end.

    False where the memory gave out; then this process is of no further use.
    """
    try:
        if about.get("trial"):
            _open_trial(outgoing, about, data)
            return True
        members = bundle.unpack(data, name=about["name"])
        frames.write(outgoing, {"names": [member.name for member in members]})
        for number, member in enumerate(members):
            if number >= about["first"]:
                frames.write(outgoing, *_taken(member, about["read_s"]))
        frames.write(outgoing, {"end": True})
    except MemoryError:
        return False
    return True


def _taken(member: bundle.Member, read_s: float) -> tuple[dict[str, Any], bytes]:
    _more_time(read_s)
    try:
        if member.problem:
            raise member.problem
        if not member.data:
            raise UnreadableFile(f"{member.name} is empty; copy the file from the device again.")
        return {"name": member.name}, packed.pack(check_usable(reading.read(member.data, name=member.name)))
    except CountercheckError as problem:
        return {"name": member.name, "error": str(problem)}, b""
    except MemoryError:
        raise
    except Exception as fault:
        return {"name": member.name, **_told(fault, member.data)}, b""


def _open_trial(outgoing: Any, about: dict[str, Any], data: bytes) -> None:
    _more_time(about["read_s"])
    try:
        carried = opening.read_trial(data, name=about["name"], max_files=about["max_files"])
        rest = opening.rest_of(carried)
    except CountercheckError as problem:
        frames.write(outgoing, {"end": True, "error": str(problem)})
    except MemoryError:
        raise
    except Exception as fault:
        frames.write(outgoing, {"end": True, **_told(fault, data)})
    else:
        for recording in carried.recordings:
            frames.write(outgoing, {"name": recording.name}, packed.pack(recording))
        frames.write(outgoing, {"end": True}, rest)


def _told(fault: Exception, data: bytes) -> dict[str, Any]:
    """A fault of the program without its message, which may quote the file."""
    where = "".join(traceback.format_tb(fault.__traceback__))
    return {"fault": type(fault).__name__, "where": where, "bytes": len(data)}


def _warm_up() -> None:
    """Load what reading loads on first use, while nobody waits and before memory is bounded."""
    for data in (b"secs,power\n" + b"".join(b"%d,200\n" % i for i in range(5)), b'<?xml version="1.0"?><gpx></gpx>', b"\x0e"):
        reading.read_many(data, name="none")


def _bound(limits: dict[str, Any]) -> None:
    if resource is None:
        return
    for what, most in ((resource.RLIMIT_FSIZE, 0), (resource.RLIMIT_CORE, 0)):
        resource.setrlimit(what, (most, most))
    most = _weight() + int(limits["read_bytes"])
    resource.setrlimit(resource.RLIMIT_AS, (most, most))


def _weight() -> int:
    """Address space of this process. [bytes]"""
    try:
        with open("/proc/self/statm") as about:  # noqa: PTH123
            return int(about.read().split()[0]) * resource.getpagesize()
    except OSError:  # elsewhere: what these libraries were seen to reserve
        return 512 * MIB


def _more_time(read_s: float) -> None:
    """From now on so much processor time; used up, the system ends this process. The parent's clock ends it where it waits."""
    if resource is not None:
        used = resource.getrusage(resource.RUSAGE_SELF)
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime + read_s) + 1, hard))


if __name__ == "__main__":
    sys.exit(main())
