"""Uploads are read by child processes that can be ended: whatever a file does, it costs itself and nothing else.

A child is started when it is first needed and kept, because loading its libraries takes a second. It gets the bytes through
a pipe, sends back packed recordings, and is ended and replaced when a file takes it too long or too much memory.
"""

from __future__ import annotations

import contextlib
import logging
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from analysis.errors import CountercheckError, UnreadableFile
from analysis.reading import bundle, packed
from analysis.reading.recording import Recording
from app import parsing_frames as frames
from app.carrying import opening
from app.carrying.carried import CarriedTrial
from app.carrying.parcel import BadParcel
from app.intake import check_usable
from app.limits import Limits

log = logging.getLogger(__name__)

# -P: nothing is loaded from the folder it happens to start in.
COMMAND = (sys.executable, "-P", "-m", "app.parsing_child")
# Waiting counts for less than working: where the machine is busy, a file is not to blame.
WALL_PER_CPU = 3.0
# A child that starts while the machine is busy: importing took 2.4 s here at a load of 3.
START_S = 60.0
# Longer than an upload waits for a free child, the page's own patience would be at risk.
WAIT_S = 60.0
# After so many children ended by one upload the rest of it is left unread.
MAX_ENDED = 3
FAULT = "{name} could not be read because of a fault of the program; the other files are not affected."
SLOW = "{name} took longer than {read_s:.0f} s to read, which no recording of a ride does; export it again, or as FIT."
LARGE = "{name} takes more memory to read than any recording of a ride; export it again, or as FIT."
# The same of a whole trial that was brought as one file.
OF_TRIAL = {
    FAULT: "{name} could not be opened because of a fault of the program.",
    SLOW: "{name} took longer than {read_s:.0f} s to open, which no trial does; take it away from the trial's page again.",
    LARGE: "{name} takes more memory to open than any trial; take it away from the trial's page again.",
}
LEFT = "{name} was left unread, because other files of this upload could not be read; give it by itself."


class ReadersBusy(CountercheckError):
    """No child was free in time."""


@dataclass(frozen=True, kw_only=True)
class FileRead:
    """One file of an upload: the recording in it, or the sentence that says why there is none."""

    name: str
    recording: Recording | None = None
    error: str | None = None


class Reader(Protocol):
    """What reads uploads."""

    def read(self, data: bytes, *, name: str) -> list[FileRead]:
        """Every file in an upload, in its order. Raises ReadersBusy."""

    def read_trial(self, data: bytes, *, name: str, max_files: int) -> CarriedTrial:
        """A whole trial from another server, looked at all over. Raises ReadersBusy, or one sentence that names the file."""

    def close(self) -> None: ...


class Here:
    """Reads in this process, with an analysis of one's own; for tests that count what is asked of it."""

    def __init__(self, read: Callable[..., Recording]) -> None:
        self._read = read

    def read(self, data: bytes, *, name: str) -> list[FileRead]:
        return [self._one(member) for member in bundle.unpack(data, name=name)]

    def read_trial(self, data: bytes, *, name: str, max_files: int) -> CarriedTrial:
        return opening.read_trial(data, name=name, max_files=max_files)

    def close(self) -> None: ...

    def _one(self, member: bundle.Member) -> FileRead:
        try:
            if member.problem:
                raise member.problem
            if not member.data:
                raise UnreadableFile(f"{member.name} is empty; copy the file from the device again.")
            return FileRead(name=member.name, recording=check_usable(self._read(member.data, name=member.name)))
        except CountercheckError as problem:
            return FileRead(name=member.name, error=str(problem))
        except Exception as fault:
            log.error("reading an upload of %d bytes failed with %s", len(member.data), type(fault).__name__)
            return FileRead(name=member.name, error=FAULT.format(name=member.name))


class Children:
    """Reads in child processes, `limits.readers` of them at most."""

    def __init__(self, limits: Limits, *, command: Sequence[str] = COMMAND) -> None:
        self._limits = limits
        self._free: queue.LifoQueue[_Child] = queue.LifoQueue()  # the one used last is up already
        self._all = [_Child(limits, command) for _ in range(limits.readers)]
        for child in self._all:
            self._free.put(child)

    def read(self, data: bytes, *, name: str) -> list[FileRead]:
        with self._child() as child:
            names: list[str] = []
            found: list[FileRead] = []
            ended = 0
            while ended < MAX_ENDED and (not names or len(found) < len(names)):
                try:
                    names = child.begin(data, name=name, first=len(found))
                    for one in child.files():
                        found.append(one)  # what came before a child ended stays
                    break
                except ChildEnded as end:
                    ended += 1
                    log.warning("a child ended while it read an upload of %d bytes: %s", len(data), end.how)
                    if not names and ended == 1 and end.sentence is FAULT:
                        continue  # it may have been ended before, by somebody else
                    names = names or [name]
                    at_fault = names[len(found)]
                    found.append(FileRead(name=at_fault, error=end.sentence.format(name=at_fault, read_s=self._limits.read_s)))
            return found + [FileRead(name=left, error=LEFT.format(name=left)) for left in names[len(found) :]]

    def read_trial(self, data: bytes, *, name: str, max_files: int) -> CarriedTrial:
        with self._child() as child:
            try:
                try:
                    recordings, rest = child.trial(data, name=name, max_files=max_files)
                except ChildEnded as end:
                    if end.sentence is not FAULT:
                        raise
                    recordings, rest = child.trial(data, name=name, max_files=max_files)  # somebody else may have ended it
            except ChildEnded as end:
                log.warning("a child ended while it opened a trial of %d bytes: %s", len(data), end.how)
                raise BadParcel(OF_TRIAL[end.sentence].format(name=name, read_s=self._limits.read_s)) from None
        return opening.with_rest(recordings, rest, name)

    def warm(self) -> None:
        """Have one child ready before the first upload comes."""
        self._all[-1].start()

    def close(self) -> None:
        for child in self._all:
            child.end()

    @contextmanager
    def _child(self) -> Iterator[_Child]:
        try:
            child = self._free.get(timeout=WAIT_S)
        except queue.Empty:
            raise ReadersBusy("The server is reading other uploads just now; try again in a minute.") from None
        try:
            yield child
        finally:
            self._free.put(child)


class ChildEnded(Exception):
    """The child is gone; `sentence` says it to whoever sent the file, with places for `name` and `read_s`."""

    def __init__(self, how: str, sentence: str) -> None:
        super().__init__(how)
        self.how, self.sentence = how, sentence


class _Child:
    """One child process and the two pipes to it; used by one thread at a time."""

    def __init__(self, limits: Limits, command: Sequence[str]) -> None:
        self._limits = limits
        self._command = command
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._fresh = True
        self._late = False

    def begin(self, data: bytes, *, name: str, first: int) -> list[str]:
        """Have an upload read from file number `first` on; the names in it. Raises ChildEnded."""
        process = self.start()
        read_s = self._limits.read_s
        with self._talking(process, WALL_PER_CPU * read_s + (START_S if self._fresh else 0.0)):
            frames.write(process.stdin, {"name": name, "first": first, "read_s": read_s}, data)
            names = [str(one) for one in frames.read(process.stdout)[0]["names"]]
        self._fresh = False
        return names

    def files(self) -> Iterator[FileRead]:
        """One file of the upload after the other, once `begin` was called. Raises ChildEnded."""
        process = self._process
        while True:
            with self._talking(process, WALL_PER_CPU * self._limits.read_s):
                about, body = frames.read(process.stdout)
                if about.get("end"):
                    return
                one = self._understood(about, body)
            yield one

    def trial(self, data: bytes, *, name: str, max_files: int) -> tuple[tuple[Recording, ...], bytes]:
        """Have a whole trial opened: recordings, and the rest for `opening.with_rest`. Raises ChildEnded, BadParcel."""
        process = self.start()
        asked = {"trial": True, "name": name, "max_files": max_files, "read_s": self._limits.read_s}
        found: list[tuple[str, bytes]] = []
        with self._talking(process, WALL_PER_CPU * self._limits.read_s + (START_S if self._fresh else 0.0)):
            frames.write(process.stdin, asked, data)
            about, body = frames.read(process.stdout)
            while not about.get("end"):
                found.append((str(about["name"]), body))
                about, body = frames.read(process.stdout)
        self._fresh = False
        if "error" in about:
            raise BadParcel(str(about["error"]))
        if "fault" in about:
            log.error("opening a trial of %s bytes failed with %s at\n%s", about["bytes"], about["fault"], about["where"])
            raise BadParcel(OF_TRIAL[FAULT].format(name=name))
        try:
            return tuple(packed.unpack(one, name=own) for own, one in found), body
        except UnreadableFile:
            raise BadParcel(OF_TRIAL[FAULT].format(name=name)) from None

    def start(self) -> subprocess.Popen[bytes]:
        """The running process, a new one where there is none."""
        with self._lock:
            if self._process is None or self._process.poll() is not None:
                self._fresh, self._late = True, False
                self._process = _spawned(self._command)
                limits = {"read_s": self._limits.read_s, "read_bytes": self._limits.read_bytes}
                frames.write(self._process.stdin, limits)
            return self._process

    def end(self) -> None:
        with self._lock:
            process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                _closed(pipe)

    def _ended(self, process: subprocess.Popen[bytes]) -> ChildEnded:
        late = self._late
        try:
            process.wait(1.0)  # it may be about to tell by its code why
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        code = process.returncode
        self.end()
        self.start()  # loads its libraries while nobody waits for it
        if late or code == -getattr(signal, "SIGXCPU", 0):
            return ChildEnded("out of time", SLOW)
        if code == 1:
            return ChildEnded("out of memory", LARGE)
        return ChildEnded(f"code {code}", FAULT)

    @contextmanager
    def _talking(self, process: subprocess.Popen[bytes], allowed_s: float) -> Iterator[None]:
        """End the process where this talk takes longer; reading from its pipe then ends, too. Raises ChildEnded."""

        def too_late() -> None:
            self._late = True
            process.kill()

        timer = threading.Timer(allowed_s, too_late)
        timer.daemon = True
        timer.start()
        try:
            yield
        except (OSError, frames.BrokenFrame, KeyError, TypeError, ValueError):
            raise self._ended(process) from None
        finally:
            timer.cancel()

    def _understood(self, about: dict[str, Any], body: bytes) -> FileRead:
        name = str(about["name"])
        if "error" in about:
            return FileRead(name=name, error=str(about["error"]))
        if "fault" in about:
            log.error("reading an upload of %s bytes failed with %s at\n%s", about["bytes"], about["fault"], about["where"])
            return FileRead(name=name, error=FAULT.format(name=name))
        try:
            return FileRead(name=name, recording=packed.unpack(body, name=name))
        except UnreadableFile:
            return FileRead(name=name, error=FAULT.format(name=name))


def _spawned(command: Sequence[str]) -> subprocess.Popen[bytes]:
    """A child without this process's secrets: of the environment it gets only what Python needs to start."""
    kept = {name: value for name, value in os.environ.items() if name in ("PATH", "SYSTEMROOT", "LANG", "LC_ALL", "TZ")}
    kept |= {"PYTHONPATH": os.pathsep.join(path or str(Path.cwd()) for path in sys.path), "PYTHONDONTWRITEBYTECODE": "1"}
    kept |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}  # each thread reserves memory that counts
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=kept, cwd=Path.cwd().anchor,
    )  # fmt: skip


def _closed(pipe: Any) -> None:
    with contextlib.suppress(OSError):  # what was still to be sent has nobody to read it
        pipe.close()
