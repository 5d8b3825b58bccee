"""The commands that README.md gives for a public server, each run as it stands there. Referees: what a client of it gets, and the
process's own open files while an upload arrives."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import shlex
import sys
import time
from pathlib import Path

import pytest
from serving_public import from_address
from test_workers import ROOT, ROWS, running

README = (ROOT / "README.md").read_text(encoding="utf-8").replace("\\\n", "")
COMMANDS = re.findall(r"^((?:gunicorn|waitress-serve|countercheck serve --public).*?)(?: {2,}#.*)?$", README, re.MULTILINE)
pytestmark = pytest.mark.skipif(os.name != "posix", reason="looks into /proc and ends servers by signals")


def test_all_three_are_there():
    assert [command.split()[0] for command in COMMANDS] == ["gunicorn", "waitress-serve", "countercheck"]


@pytest.fixture(scope="module", params=COMMANDS, ids=lambda command: command.split()[0])
def site(request, tmp_path_factory):
    program, *words = shlex.split(request.param.replace("8417", "PORT"))
    with running(tmp_path_factory.mktemp("documented"), [str(Path(sys.executable).parent / program), *words]) as opened:
        yield opened


def test_two_recordings_become_a_trial_that_its_maker_owns(site):
    files = []
    for i in range(2):
        body = (ROWS + f"\n{1_768_673_800 + i},200,90").encode()
        status, text, number = site.ask("POST", "/upload", body, **{"X-File-Name": f"{i}.csv"})
        assert status == 200, text
        assert re.fullmatch(r"[0-9a-f]{16}", number)
        files.append({"id": json.loads(text)["id"], "name": json.loads(text)["name"]})
    status, text, _ = site.ask("POST", "/trials", json.dumps({"recordings": files}), **{"Content-Type": "application/json"})
    assert status == 201, text
    assert any("owner" in name for name in site.cookies)
    end = time.monotonic() + 120
    while (answer := site.ask("GET", f"{json.loads(text)['path']}/result.json"))[0] == 503:
        assert time.monotonic() < end
        time.sleep(0.1)
    assert (answer[0], json.loads(answer[1])["schema"]) == (200, "countercheck/1")


def test_another_host_is_refused_and_the_proxys_word_is_taken(site):
    assert site.ask("GET", "/", Host="evil.example")[0] == 421
    site.ask("GET", "/trials")
    end = time.monotonic() + 10
    while not [line for line in site.lines() if line.get("from") == "198.51.100.0/24"]:
        assert time.monotonic() < end, site.log.read_text()
        time.sleep(0.05)


def test_an_upload_of_megabytes_is_never_a_file_while_it_arrives(site):
    connection = http.client.HTTPConnection("127.0.0.1", site.port, timeout=60)
    connection.putrequest("POST", "/upload", skip_host=True)
    for name, value in (from_address("198.51.100.9") | {"X-File-Name": "a.csv", "Content-Length": str(3 << 20)}).items():
        connection.putheader(name, value)
    connection.endheaders(b"x" * (2 << 20))
    for _ in range(20):  # the bytes arrive within milliseconds; a file that held them would stay open until the rest is there
        assert not nameless_files(site.process.pid)
        time.sleep(0.05)
    connection.send(b"x" * (1 << 20))
    answer = connection.getresponse()
    assert answer.status == 422, answer.read()
    assert "a.csv" in json.load(answer)["error"]
    connection.close()


def nameless_files(pid: int) -> list[str]:
    """Files with content that a process or its children hold open and that stand in no folder."""
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    found = []
    for one in (str(pid), *children):
        for link in Path(f"/proc/{one}/fd").iterdir():
            with contextlib.suppress(OSError):  # closed meanwhile
                if "(deleted)" in str(link.readlink()) and link.stat().st_size:
                    found.append(str(link.readlink()))
    return found
