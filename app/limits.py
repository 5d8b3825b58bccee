"""How much the server takes before it refuses: sizes, counts, times, memory. Numbers only; who counts is said at each."""

from __future__ import annotations

from dataclasses import dataclass

MB = 2**20


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Every ceiling that a server has besides those of a single file; README.md lists them with their variables.

    `*_per_hour` and `requests_per_s` hold for one address (an IPv6 network of 64 bits counts as one) and only on a public
    server: at home there is nobody to be kept off.
    """

    # Bodies that one process holds at once, those still arriving included: eight of the largest files.
    bodies_bytes: int = 512 * MB
    # Processor time and memory to read one file in its child process; `analysis.reading.limits`: the largest recording takes
    # 2 s and 512 MB.
    read_s: float = 20.0
    read_bytes: int = 1024 * MB
    # Children of one process that read; reading is all processor time, more at once would only make everybody wait longer.
    readers: int = 2
    # Analyses at a time over all processes, and how many may wait for them.
    analyses: int = 2
    queue: int = 50
    # All that lies in the data folder; None: as much as there is room for.
    data_bytes: int | None = None
    # Refused below this much free disk: the database and the system need room to go on.
    free_bytes: int = 200 * MB
    # Twenty trials of six devices.
    uploads_per_hour: int = 120
    upload_bytes_per_hour: int = 1024 * MB
    trials_per_hour: int = 20
    # A key has 256 bits; this only keeps the log short of somebody who tries.
    owner_tries_per_hour: int = 60
    # A reader who scrubs without pause causes about four; a club behind one address is several readers.
    requests_per_s: int = 40
