"""From a stored trial to its open result: found if it was computed before, else computed once, in the background.

One computation per key at a time, also across workers: whoever takes the lock in the results computes, the others see
its progress there. What is computed may vanish at any time and is then computed again to the same bytes.
"""

from __future__ import annotations

import hashlib
import json
import logging
import secrets
import threading
import time
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any

from analysis.errors import CountercheckError
from analysis.reading.recording import Recording
from app.engine import Engine, Progress, real_engine
from app.intake import Source
from app.jobs_turns import ALIVE_S, Turns
from app.limits import Limits
from app.limits_shared import Shared
from app.outcome import outcome_of
from app.store import Store, StoredTrial, StoreProblem

log = logging.getLogger(__name__)

# Opened results kept in memory: a four-hour trial of four devices takes some 10 MB.
OPEN_TRIALS = 8
# A worker that died frees its key when it loses its place in line; a living one prolongs both at once, four times in it.
HOLD_S = ALIVE_S
# The last stage told may be older than that: one stage of a long ride can take so long.
TOLD_S = 60.0
# After a fault that may pass (disk full, a recording uploaded again), ask anew.
RETRY_S = 60.0
# A progress display looks a few times a second; writing more often only costs.
PROGRESS_EVERY_S = 0.1
# How often one that waits looks whether its turn has come.
TURN_EVERY_S = 0.1

NO_MORE = "the server is busy and takes no more just now; this page asks again by itself"
PROGRAM_FAULT = (
    "The comparison stopped on a fault of the program, not of your files; reload in a minute, "
    "and if it comes back, report it with the server's log."
)


@dataclass(frozen=True, kw_only=True)
class Ready:
    """The result, open: its report (the JSON of design.md) and the aligned recordings."""

    open_trial: Any


@dataclass(frozen=True, kw_only=True)
class Working:
    """Under way, or, where it has not `begun`, waiting for its turn; `stage` in plain words, `done_frac` from 0 to 1."""

    stage: str
    done_frac: float
    begun: bool = True


@dataclass(frozen=True, kw_only=True)
class Failed:
    """No result can be made; the sentence says why and what to do."""

    sentence: str


Answer = Ready | Working | Failed


class QueueFull(CountercheckError):
    """As many analyses wait as may."""


class Jobs:
    """Answers for trials; keep one per process. `shared` is what all workers of a machine see; without it none waits."""

    def __init__(
        self, store: Store, engine: Engine | None = None, *, limits: Limits | None = None, shared: Shared | None = None
    ) -> None:
        limits = limits or Limits()
        self._store = store
        self._results = store.results
        self._given_engine = engine
        self._turns = Turns(shared, limits) if shared else None
        self._pool = ThreadPoolExecutor(max_workers=limits.analyses, thread_name_prefix="countercheck-job")
        self._lock = threading.Lock()
        self._running: dict[str, bytes] = {}  # key -> token of its lock, from standing in line to the end
        self._keeper: threading.Thread | None = None
        self._closing = threading.Event()
        self._kept: OrderedDict[str, tuple[Ready | Failed, float]] = OrderedDict()

    @property
    def engine(self) -> Engine:
        if self._given_engine is None:
            self._given_engine = real_engine()
        return self._given_engine

    def ask(self, trial_id: str) -> Answer:
        """The trial's result if it is there; else see to it that it is being computed, and say how far that is.

        An id without a trial is answered by Failed.
        """
        trial = self._store.trial(trial_id)
        if trial is None:
            return Failed(sentence="There is no trial at this address; check that the link is complete.")
        key = self.key_of(trial)
        answer = self._known(key)
        if answer is None:
            waits = self._start(key, trial)
            answer = self._known(key) or waits or self._progress(key)
        return answer

    def refuse_full(self) -> None:
        """Raises QueueFull where a further analysis would have to be turned away."""
        if self.full():
            raise QueueFull("The server is busy: as many analyses wait as it takes; try again in some minutes.")

    def full(self) -> bool:
        """Whether as many analyses wait as may."""
        return self._turns is not None and self._turns.full()

    def key_of(self, trial: StoredTrial) -> str:
        """256 bit over all that the result depends on: recordings with their names, set-up, version of the analysis."""
        parts = [self.engine.version, trial.recordings, trial.setup.to_dict()]
        return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()

    def forget(self, trial: StoredTrial) -> None:
        """Drop what was computed of a trial that is gone; another one of the same recordings and set-up computes it again."""
        key = self.key_of(trial)
        for kind in ("result", "failed"):
            self._results.delete(f"{kind}:{key}")
        with self._lock:
            self._kept.pop(key, None)

    def close(self) -> None:
        self._closing.set()
        self._pool.shutdown(wait=True, cancel_futures=True)
        for key, token in list(self._running.items()):  # those that never came to run
            self._finish(key, token)

    def _known(self, key: str) -> Ready | Failed | None:
        with self._lock:
            answer, until = self._kept.get(key, (None, 0.0))
            if answer is not None and time.monotonic() < until:
                self._kept.move_to_end(key)
                return answer
        packed = self._results.get(f"result:{key}")
        if packed is not None:
            try:
                return self._keep(key, Ready(open_trial=self.engine.unpack(packed)))
            except Exception:
                log.warning("the kept result %s could not be opened and is computed anew", key, exc_info=True)
                self._results.delete(f"result:{key}")
        sentence = self._results.get(f"failed:{key}")
        return None if sentence is None else Failed(sentence=sentence.decode())

    def _keep(self, key: str, answer: Ready | Failed, *, for_s: float = float("inf")) -> Ready | Failed:
        with self._lock:
            self._kept[key] = (answer, time.monotonic() + for_s)
            self._kept.move_to_end(key)
            while len(self._kept) > OPEN_TRIALS:
                self._kept.popitem(last=False)
        return answer

    def _progress(self, key: str) -> Working:
        told = self._results.get(f"progress:{key}")
        if told is None:
            place = self._turns.place(key) if self._turns else None
            stage = f"the server is busy: {place.words}" if place else "waiting for its turn"
            return Working(stage=stage, done_frac=0.0, begun=False)
        stage, done_frac = json.loads(told)
        return Working(stage=stage, done_frac=done_frac)

    def _start(self, key: str, trial: StoredTrial) -> Working | None:
        """See to it that somebody computes this; Working where nobody can, because too many wait already."""
        token = secrets.token_bytes(16)
        with self._lock:
            if key in self._running or not self._results.claim(f"lock:{key}", token, expire_s=HOLD_S):
                return None
            if self._turns and not self._turns.join(key):
                self._results.release(f"lock:{key}", token)
                return Working(stage=NO_MORE, done_frac=0.0, begun=False)
            self._running[key] = token
            if self._keeper is None:
                self._keeper = threading.Thread(target=self._keep_alive, daemon=True, name="countercheck-hold")
                self._keeper.start()
        try:
            self._pool.submit(self._run, key, trial, token)
        except RuntimeError:  # the server is shutting down
            self._finish(key, token)
        return None

    def _run(self, key: str, trial: StoredTrial, token: bytes) -> None:
        try:
            while self._turns and not self._turns.begin(key):
                if self._closing.wait(TURN_EVERY_S):
                    return
            if self._known(key) is None:  # whoever held the lock before may have finished meanwhile
                self._compute(key, trial)
                if not self._store.is_there(trial.inner_id):  # deleted while it was being computed
                    self.forget(trial)
        finally:
            self._finish(key, token)

    def _compute(self, key: str, trial: StoredTrial) -> None:
        passing: list[StoreProblem] = []
        began_s = time.monotonic()
        try:
            packed = self.engine.pack(self._compared(trial, self._teller(key), passing))
            self._results.put(f"result:{key}", packed, expire_s=RETRY_S if passing else None)
            log.info("analysed %s... in %.1f s", key[:6], time.monotonic() - began_s)
            answer = Ready(open_trial=self.engine.unpack(packed))
            self._keep(key, answer, for_s=RETRY_S if passing else float("inf"))
        except CountercheckError as problem:
            self._fail(key, str(problem), for_s=RETRY_S if passing else None)
        except Exception:
            log.exception("computing trial %s... failed", trial.inner_id[:6])
            self._fail(key, PROGRAM_FAULT, for_s=RETRY_S)

    def _compared(self, trial: StoredTrial, progress: Progress, passing: list[StoreProblem]) -> Any:
        """The comparison; what the store could not give is noted in `passing`, because it may be there again later."""

        def load(recording_id: str, name: str) -> Recording:
            try:
                return self._store.recording(recording_id, name)
            except StoreProblem as problem:
                passing.append(problem)
                raise

        sources = [Source(name=name, load=partial(load, key, name)) for key, name in trial.recordings]
        comparison, _ = outcome_of(sources, trial.setup, self.engine, progress)
        return comparison

    def _fail(self, key: str, sentence: str, *, for_s: float | None) -> None:
        self._results.put(f"failed:{key}", sentence.encode(), expire_s=for_s)
        self._keep(key, Failed(sentence=sentence), for_s=RETRY_S if for_s is None else for_s)

    def _teller(self, key: str) -> Progress:
        last = {"stage": "", "at": 0.0}

        def tell(stage: str, done_frac: float) -> None:
            now = time.monotonic()
            if stage == last["stage"] and now - last["at"] < PROGRESS_EVERY_S:
                return
            last.update(stage=stage, at=now)
            told = json.dumps([stage, min(max(float(done_frac), 0.0), 1.0)])
            self._results.put(f"progress:{key}", told.encode(), expire_s=TOLD_S)

        return tell

    def _keep_alive(self) -> None:
        """Prolong the locks and places in line of all that waits or runs here, however long it takes; ends when nothing does."""
        while not self._closing.wait(HOLD_S / 4):
            with self._lock:
                held = dict(self._running)
                if not held:
                    self._keeper = None
                    return
            for key, token in held.items():
                self._results.hold(f"lock:{key}", token, expire_s=HOLD_S)
            if self._turns:
                self._turns.beat(held)
            self._take_back(held)

    def _take_back(self, held: dict[str, bytes]) -> None:
        """A computation that ended while its lock was being prolonged has let go of it for nothing."""
        with self._lock:
            ended = {key: token for key, token in held.items() if self._running.get(key) != token}
        for key, token in ended.items():
            self._results.release(f"lock:{key}", token)

    def _finish(self, key: str, token: bytes) -> None:
        with self._lock:
            self._running.pop(key, None)
        if self._turns:
            self._turns.leave(key)
        self._results.release(f"lock:{key}", token)
        self._results.delete(f"progress:{key}")
