"""A real server to be killed, clients that write down what it acknowledged, and the checks of what is on the disk afterwards."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from http.client import HTTPException
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import quote

GONE = (OSError, HTTPException, urllib.error.URLError)  # a server that ends in the middle of an answer


@dataclass
class Journal:
    """Only what the server has answered for: ids of recordings, trials with theirs, titles of changed set-ups by trial."""

    uploads: set[str] = field(default_factory=set)
    trials: dict[str, list[str]] = field(default_factory=dict)
    titles: dict[str, list[str]] = field(default_factory=dict)
    refusals: list[str] = field(default_factory=list)


class Served:
    """`countercheck serve` in a process of its own."""

    def __init__(self, folder: Path) -> None:
        env = {k: v for k, v in os.environ.items() if not k.startswith("COUNTERCHECK_")}
        self._process = subprocess.Popen(
            [sys.executable, "-m", "app.cli", "serve", "--port", "0", "--data-dir", str(folder)],
            stdout=subprocess.PIPE, stderr=(folder.parent / "log").open("ab"), text=True, env=env,
        )  # fmt: skip
        told = self._process.stdout.readline()
        found = re.search(r"http://\S+?(?=/ )", told)
        assert found, f"the server did not start: {told!r}; {(folder.parent / 'log').read_text()[-2000:]}"
        self.address = found[0]

    def kill(self) -> None:
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()
        self._process.stdout.close()


class Client:
    """One browser: its own cookies, its own stream of recordings."""

    def __init__(self, seed: int, journal: Journal) -> None:
        self._rng = random.Random(seed)
        self._jar = CookieJar()
        self.journal = journal

    def work(self, address: str, stop: threading.Event) -> None:
        """Upload, create, change, until told to stop or the server is gone."""
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self._jar))
        try:
            while not stop.is_set():
                recordings = [self._upload(opener, address, i) for i in range(2)]
                made = self._post(opener, address, "/trials", {"recordings": recordings, "setup": {}})
                self.journal.trials[made["id"]] = [r["id"] for r in recordings]
                for _ in range(self._rng.randint(1, 2)):
                    self._rename(opener, address, made["id"], recordings)
        except urllib.error.HTTPError as refusal:
            self.journal.refusals.append(f"{refusal.code} {refusal.read()[:300]!r}")
        except GONE:
            pass

    def _upload(self, opener, address: str, i: int) -> dict:
        level = self._rng.randint(100, 400)
        rows = [f"{1_700_000_000 + t},{level + self._rng.randint(-9, 9)},90" for t in range(40)]
        answer = self._send(opener, address, "/upload", "\n".join(["timestamp,power,cadence", *rows]).encode(), f"{'ab'[i]}.csv")
        self.journal.uploads.add(answer["id"])
        return {"id": answer["id"], "name": answer["name"]}

    def _rename(self, opener, address: str, trial_id: str, recordings: list[dict]) -> None:
        """The owner's sheet with another title, as the page sends it."""
        title = f"title {self._rng.getrandbits(40):x}"
        seen = str(1 + len(self.journal.titles.get(trial_id, [])))
        rows = {r["id"]: {"label": r["name"][0]} for r in recordings}
        body = _callback(opener, address, {"edit-form": {"rows": rows, "title": title, "seen": seen}, "trial-id": trial_id})
        answer = self._post(opener, address, "/_dash-update-component", body)
        said = answer["response"]["edit-problem"]["children"]
        assert said is None, said
        self.journal.titles.setdefault(trial_id, []).append(title)

    def _post(self, opener, address: str, path: str, tree: dict) -> dict:
        return self._send(opener, address, path, json.dumps(tree).encode(), "", kind="application/json")

    def _send(self, opener, address, path, data, name, kind="application/octet-stream") -> dict:
        headers = {"X-Requested-With": "countercheck", "Origin": address, "X-File-Name": quote(name), "Content-Type": kind}
        with opener.open(urllib.request.Request(address + path, data=data, headers=headers), timeout=60) as answer:
            return json.load(answer)


def _callback(opener, address: str, values: dict) -> dict:
    """The request of the browser's part of Dash for the callback that takes the owner's sheet."""
    opener.open(address + "/", timeout=60).close()
    with opener.open(address + "/_dash-dependencies", timeout=60) as answer:
        (spec,) = [c for c in json.load(answer) if "edit-problem.children" in c["output"]]
    outputs = [
        dict(zip(("id", "property"), part.rsplit(".", 1), strict=True))
        for part in re.sub(r"@[0-9a-f]+", "", spec["output"]).strip(".").split("...")
    ]
    filled = {
        key: [{"id": e["id"], "property": e["property"], "value": values.get(e["id"])} for e in spec[key]]
        for key in ("inputs", "state")
    }
    return {"output": spec["output"], "outputs": outputs, "changedPropIds": ["edit-form.data"], **filled}


def unlike(folder: Path, journal: Journal) -> list[str]:
    """What on the disk is half made, damaged, or missing of what was acknowledged; empty when all is well."""
    wrong = []
    blobs = {}
    for path in folder.glob("recordings/??/*.gz"):
        if path.name.startswith("."):
            continue  # never looked at, see `folders.HALF`
        blobs[path.name[:-3]] = path
        try:
            sound = hashlib.sha256(gzip.decompress(path.read_bytes())).hexdigest() == path.name[:-3]
        except (OSError, EOFError):
            sound = False
        wrong += [] if sound else [f"blob {path.name} is damaged"]
    wrong += [f"the acknowledged upload {one} is lost" for one in journal.uploads - set(blobs)]
    with sqlite3.connect(folder / "trials.sqlite3", timeout=60) as connection:
        ask = connection.execute
        wrong += [row[0] for row in ask("PRAGMA integrity_check") if row[0] != "ok"]
        wrong += [f"foreign key {row}" for row in ask("PRAGMA foreign_key_check")]
        inner = dict(ask("SELECT token, trial_id FROM reader_link").fetchall())
        for (trial_id, version) in ask("SELECT trial_id, setup_version FROM trial").fetchall():
            kept = [r[0] for r in ask("SELECT sha256 FROM trial_recording WHERE trial_id = ? ORDER BY position", (trial_id,))]
            versions = [r[0] for r in ask("SELECT version FROM trial_setup WHERE trial_id = ? ORDER BY version", (trial_id,))]
            whole = len(kept) == 2 and set(kept) <= set(blobs) and versions == list(range(1, version + 1))
            owned = ask("SELECT count(*) FROM owner_key WHERE trial_id = ?", (trial_id,)).fetchone()[0] == 1
            wrong += [] if whole and owned and trial_id in inner.values() else [f"trial {trial_id} is half made"]
        for address, ids in journal.trials.items():
            rows = ask("SELECT sha256 FROM trial_recording WHERE trial_id = ? ORDER BY position", (inner.get(address, ""),))
            wrong += [] if [r[0] for r in rows] == ids else [f"the acknowledged trial {address} is lost or changed"]
        for address, titles in journal.titles.items():
            texts = [r[0] for r in ask("SELECT setup_json FROM trial_setup WHERE trial_id = ?", (inner.get(address, ""),))]
            known = {json.loads(text)["trial"].get("title") for text in texts}
            wrong += [f"the acknowledged title {title!r} is lost" for title in titles if title not in known]
    connection.close()
    return wrong
