"""Whose turn it is to be analysed: first come, first served over all workers of a machine, and no more than may wait."""

from __future__ import annotations

import math
import sqlite3
import time
from collections.abc import Iterable
from dataclasses import dataclass

from app.limits import Limits
from app.limits_shared import Shared

# Whoever has not been heard of for this long is dead; a living one calls four times in it.
ALIVE_S = 20.0
# The mean of so many of the last analyses tells how long a turn takes; before there was one, this is a guess.
LAST = 20
GUESS_S = 5.0


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where one stands: `number` 1 is next, `wait_s` about how long until it starts."""

    number: int
    wait_s: float

    @property
    def words(self) -> str:
        """`number 3 in line, about 2 min`."""
        about = "less than a minute" if self.wait_s < 60 else f"about {math.ceil(self.wait_s / 60)} min"
        return f"number {self.number} in line, {about}"


class Turns:
    """The queue of analyses. Where its table cannot be used, everybody's turn comes at once."""

    def __init__(self, shared: Shared, limits: Limits) -> None:
        self._shared = shared
        self._limits = limits

    def join(self, key: str) -> bool:
        """Stand in line; False where too many do."""

        def act(table: sqlite3.Connection) -> bool:
            now = _now(table)
            if _count(table, "started_s IS NULL") >= self._limits.queue:
                return False
            table.execute("INSERT OR REPLACE INTO turn VALUES (?, ?, NULL, ?)", (key, now, now))
            return True

        return self._shared.ask(act, True)

    def begin(self, key: str) -> bool:
        """Whether it is this one's turn; if so it has begun."""

        def act(table: sqlite3.Connection) -> bool:
            now = _now(table)
            free = self._limits.analyses - _count(table, "started_s IS NOT NULL")
            order = "SELECT key FROM turn WHERE started_s IS NULL ORDER BY asked_s, key LIMIT ?"
            if key not in [row[0] for row in table.execute(order, (max(free, 0),))]:
                return not table.execute("SELECT 1 FROM turn WHERE key = ?", (key,)).fetchone()  # lost: nobody to wait for
            table.execute("UPDATE turn SET started_s = ?, alive_s = ? WHERE key = ?", (now, now, key))
            return True

        return self._shared.ask(act, True)

    def beat(self, keys: Iterable[str]) -> None:
        """These are alive."""
        rows = [(time.time(), key) for key in keys]
        self._shared.ask(lambda table: table.executemany("UPDATE turn SET alive_s = ? WHERE key = ?", rows).rowcount, 0)

    def leave(self, key: str) -> None:
        """Done, or given up; how long it took tells the others how long they wait."""

        def act(table: sqlite3.Connection) -> None:
            now = _now(table)
            row = table.execute("SELECT started_s FROM turn WHERE key = ?", (key,)).fetchone()
            table.execute("DELETE FROM turn WHERE key = ?", (key,))
            if row and row[0] is not None:
                table.execute("INSERT INTO took VALUES (?, ?)", (now, max(now - row[0], 0.0)))
                oldest = "SELECT ended_s FROM took ORDER BY ended_s DESC LIMIT 1 OFFSET ?"
                table.execute(f"DELETE FROM took WHERE ended_s <= ({oldest})", (LAST,))

        self._shared.ask(act, None)

    def place(self, key: str) -> Place | None:
        """Where this one stands in line; None once it has begun, or where it stands nowhere."""

        def act(table: sqlite3.Connection) -> Place | None:
            _now(table)
            order = "SELECT key FROM turn WHERE started_s IS NULL ORDER BY asked_s, key"
            waiting = [row[0] for row in table.execute(order)]
            if key not in waiting:
                return None
            mean_s = table.execute("SELECT avg(took_s) FROM took").fetchone()[0] or GUESS_S
            number = waiting.index(key) + 1
            return Place(number=number, wait_s=number * mean_s / self._limits.analyses)

        return self._shared.ask(act, None)

    def full(self) -> bool:
        """Whether nobody more may stand in line."""

        def act(table: sqlite3.Connection) -> bool:
            _now(table)
            return _count(table, "started_s IS NULL") >= self._limits.queue

        return self._shared.ask(act, False)


def _now(table: sqlite3.Connection) -> float:
    """The time [s], after the dead were struck out."""
    now = time.time()
    table.execute("DELETE FROM turn WHERE alive_s < ?", (now - ALIVE_S,))
    return now


def _count(table: sqlite3.Connection, which: str) -> int:
    return table.execute(f"SELECT count(*) FROM turn WHERE {which}").fetchone()[0]
