"""What somebody may send who means harm. Referees: the attacks' own definitions, status codes, what was kept and answered."""

from __future__ import annotations

import csv
import io
import json
import struct
import zipfile
import zlib

import pytest

from app.limits import Limits
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings
from app.tables import deltas_csv

OURS = {"X-Requested-With": "countercheck", "Origin": "http://localhost"}
GPX = '<?xml version="1.0"?>{}<gpx xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{}</trkseg></trk></gpx>'


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("attacks")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results", limits=Limits(read_s=10.0)))
    yield app.server.test_client(), folder
    app.server.config[CONFIG_KEY].close()


def refused(site, data: bytes, name: str) -> str:
    """The one sentence; nothing is kept."""
    client, folder = site
    answer = client.post("/upload", data=data, headers=OURS | {"X-File-Name": name})
    assert answer.status_code in (413, 422), answer.text
    assert not [path for path in (folder / "recordings").rglob("*.gz")]
    told = answer.get_json()
    sentences = [told["error"]] if "error" in told else [one["error"] for one in told["errors"]]
    assert all("Traceback" not in one and "\n" not in one for one in sentences)
    return " ".join(sentences)


def test_xml_entities_are_not_expanded(site):
    laughs = "<!DOCTYPE x [<!ENTITY a0 'ha'>" + "".join(
        f"<!ENTITY a{i} '{f'&a{i - 1};' * 10}'>" for i in range(1, 10)) + "]>"  # fmt: skip
    assert "laughs.gpx" in refused(site, GPX.format(laughs, "&a9;").encode(), "laughs.gpx")
    outside = "<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/hostname'>]>"
    assert "outside.gpx" in refused(site, GPX.format(outside, "&e;").encode(), "outside.gpx")
    # the referee works: without the entities the same file is refused for what it lacks, not for what it holds
    assert "entit" not in refused(site, GPX.format("", "").encode(), "plain.gpx").lower()


def zipped(files: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return stream.getvalue()


def overlapping(members: int) -> bytes:
    """A zip whose entries all point at the same bytes (as D. Fifield's bomb of 2019 does; from memory)."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    plain = bytes(2**20)
    body = packer.compress(plain) + packer.flush()
    crc = zlib.crc32(plain)
    local = struct.pack("<4sHHHHHIIIHH", b"PK\x03\x04", 20, 0, 8, 0, 33, crc, len(body), len(plain), 5, 0) + b"a.csv" + body
    central = b"".join(
        struct.pack("<4sHHHHHHIIIHHHHHII", b"PK\x01\x02", 20, 20, 0, 8, 0, 33, crc, len(body), len(plain), 5, 0, 0, 0, 0, 0, 0)
        + b"a.csv" for _ in range(members))  # fmt: skip
    return local + central + struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, members, members, len(central), len(local), 0)


@pytest.mark.parametrize(
    "data",
    [
        zipped({"a.csv": bytes(100 * 2**20)}),
        zipped({"inner.zip": zipped({"inner.zip": zipped({"a.csv": b"secs,power\n1,2\n"})})}),
        zipped({f"{i}.csv": b"" for i in range(5000)}),
        overlapping(2000),
        overlapping(20),
    ],
    ids=["ratio", "nested", "many", "overlapping", "few overlapping"],
)
def test_a_zip_bomb_is_one_sentence(site, data):
    assert refused(site, data, "bomb.zip")


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"secs,power\n1," + b"9" * 30_000_000, "long.csv"),
        (b"," * 20_000_000, "commas.csv"),
        (b'"' + b"x\n" * 10_000_000, "quote.csv"),
        (b"<" * 10_000_000, "open.gpx"),
        (b"<?xml version='1.0'?>" + b"<a>" * 3_000_000, "deep.tcx"),
        (b"\x0e\x10\xff\xff\xff\xff\xff\x7f.FIT" + b"\x40" * 1_000_000, "noise.fit"),
    ],
)
def test_text_made_to_be_slow_or_large_is_one_sentence_in_time(site, data, name):
    assert name in refused(site, data, name)


def test_paths_in_an_archive_lead_nowhere(site):
    client, folder = site
    data = zipped({"../../../escape.csv": b"no recording", "/etc/escape.csv": b"no recording", "C:\\escape.csv": b"no"})
    refused(site, data, "paths.zip")
    assert not list(folder.parent.rglob("escape*"))
    for path in ("/assets/../app/main.py", "/assets/%2e%2e/app/main.py", "/trial/../../etc/passwd", "/assets//etc/passwd"):
        answer = client.get(path)
        assert answer.status_code in (403, 404)
        assert b"create_app" not in answer.data


@pytest.mark.parametrize("path", ["/_dash-update-component", "/trials"])
@pytest.mark.parametrize(
    "body",
    [b"[" * 100_000, b'{"a":' * 100_000, b'{"output":' + b"[" * 60_000 + b"]" * 60_000 + b"}", b"\xff\xfe", b"null", b"5"],
    ids=["brackets", "braces", "closed", "bytes", "null", "number"],
)  # fmt: skip
def test_json_that_is_deep_or_none_is_no_fault_with_a_traceback(site, path, body):
    answer = site[0].post(path, data=body, headers=OURS, content_type="application/json")
    assert 400 <= answer.status_code <= 500
    assert "Traceback" not in answer.text and 'File "' not in answer.text
    assert len(answer.data) < 2000


HTML = '<img src=x onerror=alert(1)>"><script>alert(2)</script>'


def test_html_in_labels_and_titles_stays_text_everywhere(site):
    client, _ = site
    rows = "\n".join(f"{1_768_673_100 + t},{200 + t % 7},{88 + t % 3}" for t in range(600))
    files = [
        client.post("/upload", data=f"time,power,cadence\n{rows}\n{1_768_673_800 + i},200,90".encode(),
                    headers=OURS | {"X-File-Name": f"{i}.csv"}).get_json() for i in range(2)
    ]  # fmt: skip
    setup = {"trial": {"title": HTML}, "device": [{"file": f"{i}.csv", "label": f"{HTML[:60]}{i}"} for i in range(2)]}
    body = {"recordings": [{"id": one["id"], "name": one["name"]} for one in files], "setup": setup}
    told = client.post("/trials", json=body, headers=OURS).get_json()
    assert "id" in told, told
    page = client.get(told["path"])
    assert b"<img src=x" not in page.data and b"<script>alert" not in page.data
    for name in ("result.json", "deltas.csv", "report.html"):
        answer = client.get(f"/trial/{told['id']}/{name}")
        for _ in range(600):
            if answer.status_code != 503:
                break
            answer = client.get(f"/trial/{told['id']}/{name}")
        assert answer.status_code == 200, answer.text[:300]
        assert "nosniff" in answer.headers["X-Content-Type-Options"]
        if name.endswith("html"):
            assert b"<img src=x" not in answer.data and b"<script>alert" not in answer.data
            assert b"&lt;img src=x" in answer.data


def test_headers_of_somebody_elses_making_change_nothing(site):
    client, _ = site
    for headers in (
        {"X-Forwarded-Host": "evil.example"}, {"X-Original-URL": "/own/x/y"}, {"X-HTTP-Method-Override": "DELETE"},
        {"X-Forwarded-Proto": "https"}, {"Forwarded": "host=evil.example"},
    ):  # fmt: skip
        answer = client.get("/", headers=headers)
        assert answer.status_code == 200
        assert b"evil.example" not in answer.data
    assert client.get("/demo", headers={"Host": "evil.example"}).status_code == 421


def test_a_fault_anywhere_shows_nothing_of_the_program(site, monkeypatch):
    client, _ = site
    secret = "a path /var/keep/me and a word"

    def broken(*_args, **_more):
        raise RuntimeError(secret)

    app = client.application
    client.get("/")
    faults = 0
    for endpoint in list(app.view_functions):
        monkeypatch.setitem(app.view_functions, endpoint, broken)
    for rule in app.url_map.iter_rules():
        path = rule.rule
        for name in rule.arguments:
            path = __import__("re").sub(rf"<(?:\w+:)?{name}>", "t" * 32, path)
        for method in sorted(rule.methods & {"GET", "POST"}):
            answer = client.open(path, method=method, headers=OURS, json={} if method == "POST" else None)
            faults += answer.status_code == 500
            assert secret not in answer.text and "Traceback" not in answer.text and "RuntimeError" not in answer.text
            assert "Content-Security-Policy" in answer.headers
            assert "werkzeug" not in answer.headers.get("Server", "").lower()
    assert faults > 8
    assert json.loads(client.get("/trial/" + "t" * 32 + "/result.json").text)["error"]


@pytest.mark.parametrize("label", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_spreadsheet_takes_no_label_for_a_formula(label):
    # OWASP, "CSV injection": a cell that begins with one of = + - @ tab or return is run by spreadsheets
    row = {"block": "B01", "label": label, "delta_w": -1.5, "verdict": "within"}
    block = {"id": "B01", "start_s": 0.0, "end_s": 9.0, "kind": "steady", "name": label}
    report = {"blocks": [block], "deltas": [row], "summary": []}
    text = deltas_csv(report)
    cells = [cell for line in csv.reader(io.StringIO(text)) for cell in line]
    assert any(label.strip() in cell for cell in cells)
    assert not [cell for cell in cells if cell.startswith(("=", "+cmd", "-2+3", "@", "\t", "\r"))]
