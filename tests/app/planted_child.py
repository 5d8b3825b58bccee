"""The child that reads uploads, with misdeeds planted: a file that begins with one of these words does that to its process."""

from __future__ import annotations

import os
import sys
import time

from analysis import reading
from app import parsing_child

PLANTED = (sys.executable, "-P", __file__)
honest = reading.read


def read(data: bytes, *, name: str):
    word = data[:20].split()[0] if data.split() else b""
    if word == b"SLEEP":
        time.sleep(3600)
    if word == b"SPIN":
        while True:
            pass
    if word == b"EAT":
        eaten = []
        while True:
            eaten.append(bytearray(2**24))
    if word == b"DIE":
        os._exit(7)
    if word == b"PRINT":
        print("this must not end between the frames")
        os.write(1, b'{"size": 5}\nwrong')
    if word == b"WRITE":  # what a file cannot be: the text of the trouble comes back as a fault
        with open(data.split()[1].decode(), "wb") as file:  # noqa: PTH123
            file.write(b"positions")
    if word == b"FAULT":
        raise ZeroDivisionError(f"a secret of the file: {data!r}")
    if word == b"LOOK":
        raise reading.UnreadableFile(f"{name}: {sorted(n for n in os.environ if 'COUNTERCHECK' in n)} {os.getpid()}")
    return honest(b"\n".join(data.split(b"\n")[1:]) if word == b"PRINT" else data, name=name)


if __name__ == "__main__":
    reading.read = read
    sys.exit(parsing_child.main())
