"""What was drawn of an open result, kept while it is being read: the second reader need not wait for it again."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

MOST = 32  # drawings, some 0.2 MB each


class Remembered:
    """The last `MOST` things made, each of one result and under one name. Threads may share it; keep one per process."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[int, Hashable], tuple[Any, Any]] = OrderedDict()

    def of(self, result: Any, name: Hashable, make: Callable[[], Any]) -> Any:
        """What `make` gave when it was first asked for `name` of this very object; nobody may change it."""
        key = (id(result), name)
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
                return found[1]
        made = make()
        with self._lock:
            self._kept[key] = (result, made)  # holding the object keeps its id from being given to another
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return made
