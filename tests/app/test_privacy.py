"""Nothing kept or served says where, who, or which single device. Referee: the values themselves, looked for in every byte."""

from __future__ import annotations

import io
import itertools
import json
import logging
import re
import struct
import sys
import tempfile
import threading
import urllib.request
import zipfile
from dataclasses import dataclass, field, replace
from pathlib import Path

import fitparse
import pytest
from asking import OURS, send, settled
from every_byte import kept_bytes, served_bytes, unpacked
from planted_child import PLANTED

from analysis.reading import read
from app import cli, links
from app.jobs import Ready
from app.limits import Limits
from app.main import create_app
from app.parsing import Children
from app.services import CONFIG_KEY
from app.serving import Server
from app.views.evidence import CHAPTERS

sys.path.insert(0, str(Path(__file__).parents[1] / "analysis" / "reading"))
import fit_bytes as w

RIDES = Path(__file__).resolve().parents[3] / "shared" / "rides"
NAME, SERIAL, RADIO = "Quirina Oxbow-Tellervo", 3_914_267_851, 54_873
WEIGHT_KG, HEIGHT_CM, AGE = 4012.3, 187, 97  # no rider, but a text that no figure gives by chance
T0 = 1_000_000_000
SEMICIRCLES = 2**31 / 180
# Four bytes occur by chance in megabytes of samples, a whole ride's positions do not: a leak shows nearly all of those
# looked for. Expected by chance for 50 of them in 50 MB: 50 * 4 * 5e7 / 2**32 = 2.3.
LOOKED_FOR, BY_CHANCE = 50, 10


@dataclass
class Secrets:
    """What a file holds that must not come out: positions in semicircles, texts, numbers, and its own bytes."""

    places: list[tuple[int, int]]
    texts: list[bytes] = field(default_factory=list)
    serials: list[int] = field(default_factory=list)
    file: bytes = b""

    def found_in(self, pieces: list[bytes]) -> list[str]:
        """What of it stands in the bytes; empty when nothing does."""
        told, pieces = [], set(pieces)
        for words, patterns in (("as int32", self._int32), ("as degrees", self._degrees), ("as float64", self._float64)):
            seen = sum(any(way in piece for way in ways for piece in pieces) for ways in patterns())
            told += [f"{seen} positions {words}"] if seen > BY_CHANCE else []
        # two neighbours side by side, as a row (latitude, longitude) or a column; eight bytes do not occur by chance
        rows = [struct.pack(e + "ii", *place) for place in self.places for e in "<>"]
        columns = [struct.pack(e + "ii", a[i], b[i])
                   for a, b in itertools.pairwise(self.places) for i in (0, 1) for e in "<>" if a[i] != b[i]]  # fmt: skip
        chunks = [self.file[i : i + 16] for i in range(0, len(self.file), max(16, len(self.file) // 300))]
        own = [chunk for chunk in chunks if len(set(chunk)) > 8]
        for words, exact in (("row", rows[:100]), ("column", columns[:200]), ("text", self.texts), ("bytes of the file", own)):
            told += [f"{words} {p!r}" for p in exact if any(p in piece for piece in pieces)]
        for serial in self.serials:
            text = re.compile(rb"(?<!\d)%d(?!\d)" % serial)
            told += [f"serial {serial}" for piece in pieces if text.search(piece)][:1]
            if serial > 0xFFFFFF:  # shorter ones occur by chance
                packed = [struct.pack(e + "I", serial) for e in "<>"]
                told += [f"serial {p!r}" for p in packed if sum(piece.count(p) for piece in pieces) > 1]
        return told

    def _some(self) -> list[tuple[int, int]]:
        return self.places[:: max(1, len(self.places) // (LOOKED_FOR // 2))][: LOOKED_FOR // 2]

    def _int32(self) -> list[list[bytes]]:
        return [[struct.pack(e + "i", v) for e in "<>"] for place in self._some() for v in place]

    def _degrees(self) -> list[list[bytes]]:
        """To five decimals, a metre, cut rather than rounded: every longer text begins so."""
        return [[re.match(r"-?\d+\.\d{5}", f"{v / SEMICIRCLES:.9f}").group().encode()] for p in self._some() for v in p]

    def _float64(self) -> list[list[bytes]]:
        return [[struct.pack(e + "d", v / SEMICIRCLES) for e in "<>"] for place in self._some() for v in place]


def built_fit(seconds: int = 900) -> tuple[bytes, Secrets]:
    """A FIT file with a known track, rider, recorder and sensor."""
    places = [(round(48.1234567 * SEMICIRCLES) + 97 * t, round(-11.7654321 * SEMICIRCLES) - 131 * t) for t in range(seconds)]
    name = NAME.encode().ljust(30, b"\0")
    body = w.define(0, w.FILE_ID, [(0, "enum"), (1, "uint16"), (2, "uint16"), (3, "uint32z"), (8, "string", 30)])
    body += w.put(0, "BHHI30s", 4, 255, 7, SERIAL, name)
    body += w.define(1, 3, [(0, "string", 30), (1, "enum"), (2, "uint8"), (3, "uint8"), (4, "uint16")])
    body += w.put(1, "30sBBBH", name, 0, AGE, HEIGHT_CM, round(WEIGHT_KG * 10))
    sensor = [(253, "uint32"), (0, "uint8"), (1, "uint8"), (3, "uint32z"), (21, "uint16"), (27, "string", 30)]
    body += w.define(2, w.DEVICE_INFO, sensor)
    body += w.put(2, "IBBIH30s", T0, 1, 11, SERIAL - 1, RADIO, name)
    body += w.define(3, w.RECORD, [(253, "uint32"), (0, "sint32"), (1, "sint32"), (7, "uint16"), (4, "uint8")])
    body += b"".join(w.put(3, "IiiHB", T0 + t, *place, 200 + t % 11, 88 + t % 3) for t, place in enumerate(places))
    body += w.define(4, 18, [(253, "uint32"), (3, "sint32"), (4, "sint32"), (110, "string", 30)])
    body += w.put(4, "Iii30s", T0 + seconds, *places[0], name)
    data = w.wrap(body)
    texts = [NAME.encode(), NAME.encode("utf-16-le"), NAME.split()[1].encode(), str(WEIGHT_KG).encode()]
    texts += [b"friendly_name", b"user_profile"]
    texts.append(struct.pack("<BBH", AGE, HEIGHT_CM, round(WEIGHT_KG * 10)))
    return data, Secrets(places=places, texts=texts, serials=[SERIAL, SERIAL - 1, RADIO], file=data)


def built_csv(data: bytes, secrets: Secrets) -> bytes:
    """The same ride from a second device, with the position in columns of its own."""
    samples = read(data, name="first.fit").samples
    degrees = [(lat / SEMICIRCLES, lon / SEMICIRCLES) for lat, lon in secrets.places]
    degrees += [degrees[-1]] * (len(samples) - len(degrees))
    rows = zip(samples["time_s"], samples["power_w"].fillna(0) * 1.02, samples["cadence_rpm"].fillna(0), degrees, strict=False)
    lines = [f"{t:.0f},{p:.1f},{c:.0f},{place[0]:.7f},{place[1]:.7f},{NAME}" for t, p, c, place in rows]
    return ("time,power,cadence,latitude,longitude,rider\n" + "\n".join(lines)).encode()


def built_gpx(secrets: Secrets) -> bytes:
    points = "".join(
        f'<trkpt lat="{lat / SEMICIRCLES:.7f}" lon="{lon / SEMICIRCLES:.7f}">'
        f"<time>2021-09-08T01:{46 + t // 60}:{t % 60:02d}Z</time><extensions><power>{203 + t % 11}</power></extensions></trkpt>"
        for t, (lat, lon) in enumerate(secrets.places[:720])
    )
    head = f'<gpx version="1.1"><metadata><author><name>{NAME}</name></author></metadata><trk><name>{NAME}</name><trkseg>'
    return f"{head}{points}</trkseg></trk></gpx>".encode()


def real_secrets(data: bytes) -> Secrets:
    """As fitparse sees them, in the first thousands of messages and in every message about the rider."""
    secrets = Secrets(places=[], file=data)
    for message in itertools.islice(fitparse.FitFile(data, check_crc=False).get_messages(), 12_000):
        raw = {item.name: item.raw_value for item in message.fields}
        lat, lon = raw.get("position_lat"), raw.get("position_long")
        if isinstance(lat, int) and isinstance(lon, int):
            secrets.places.append((lat, lon))
        found = [raw.get(key) for key in ("serial_number", "ant_device_number")]
        secrets.serials += [n for n in found if isinstance(n, int) and n > 70_000]
        name = raw.get("friendly_name")
        secrets.texts += [name.encode() if isinstance(name, str) else name] if name else []
    secrets.texts += [b"friendly_name", b"user_profile", b"position_lat"]
    secrets.places = list(dict.fromkeys(secrets.places))
    return secrets


@pytest.fixture
def real_app(settings):
    made = create_app(settings)
    yield made
    made.server.config[CONFIG_KEY].jobs.close()
    made.server.config[CONFIG_KEY].store.close()


def everything(app, settings, files: list[tuple[str, bytes]], caplog) -> tuple[list[bytes], list[bytes]]:
    """Upload the files, run the trial as its owner, and gather all that is kept and all that is served."""
    caplog.set_level(logging.DEBUG)
    client, services = app.server.test_client(), app.server.config[CONFIG_KEY]
    answers = [send(client, data, name) for name, data in files]
    assert [a.status_code for a in answers] == [200] * len(files), [a.text for a in answers]
    uploads = [a.get_json() for a in answers]
    body = {"recordings": [{"id": u["id"], "name": u["name"]} for u in uploads], "setup": {}}
    made = client.post("/trials", json=body, headers=OURS)
    trial_id = made.get_json()["id"]
    assert isinstance(settled(services.jobs, trial_id, within_s=120), Ready)
    path = links.trial_path(trial_id)
    values = {
        "trial-id.data": trial_id, "theme.data": "light", "uploads.data": {"files": uploads, "typed": None},
        "trial-window.data": [60.0, 300.0], "_pages_location.pathname": path, "_pages_location.search": "?from=60.0&to=300.0",
        "links-form.data": {"act": "new-owner", "seen": "1"}, "trial-poll.data": 1, "trial-poll.n_intervals": 1,
    }  # fmt: skip
    paths = [path, links.result_path(trial_id), links.deltas_path(trial_id)]
    pictures = [f"{kind}:{place}" for kind in ("match", "stretch") for place in range(1, len(files))]
    evidence = ["changes:1", "behind:0", "behind:1", "sprint-traces", "blocks", *(chapter.name for chapter in CHAPTERS)]
    served = served_bytes(client, paths, values, [*pictures, *evidence])
    served += [piece for a in (*answers, made) for piece in unpacked(a.data)] + [caplog.text.encode()]
    assert any(json.dumps(uploads[0]["sha256"]).encode() in piece for piece in served)  # the referee sees into the answers
    assert sum(piece.count(b'"scatter') > 0 for piece in served) > len(pictures)
    return kept_bytes(settings.data_dir, settings.cache_dir), served


def test_a_built_file_leaves_no_trace_of_place_rider_or_device(real_app, settings, caplog):
    fit, secrets = built_fit()
    csv, gpx = built_csv(fit, secrets), built_gpx(secrets)
    kept, served = everything(real_app, settings, [("a.fit", fit), ("b.csv", csv), ("c.gpx", gpx)], caplog)
    for file in (fit, csv, gpx):
        asked = replace(secrets, file=file)
        assert asked.found_in(kept) == []
        assert asked.found_in(served) == []


@pytest.mark.parametrize("name", ["ride-01.fit", "ride-02.fit"])
def test_a_real_ride_leaves_no_trace_of_place_rider_or_device(real_app, settings, caplog, name):
    if not (RIDES / name).exists():
        pytest.skip(f"{name} is not here: the folder of real rides lies beside the project on the machines that have it.")
    fit = (RIDES / name).read_bytes()
    secrets = real_secrets(fit)
    assert len(secrets.places) > 500  # without those of standing still
    kept, served = everything(real_app, settings, [("a.fit", fit), ("b.csv", built_csv(fit, secrets))], caplog)
    assert secrets.found_in(kept) == []
    assert secrets.found_in(served) == []


def test_the_search_finds_what_it_looks_for():
    # The referee's own check: each way of leaking is seen, through every wrapping.
    fit, secrets = built_fit()
    lat, lon = zip(*secrets.places, strict=True)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("x", fit)
    leaks = [
        fit, stream.getvalue(), b"0123456789abcdef" + stream.getvalue(), struct.pack(f">{len(lat)}i", *lat),
        struct.pack(f"<{len(lon)}d", *(v / SEMICIRCLES for v in lon)), json.dumps([v / SEMICIRCLES for v in lat]).encode(),
        f'{{"serial": {SERIAL}}}'.encode(), f'"weight": {WEIGHT_KG}'.encode(), NAME.encode(), fit[3000:3100],
    ]  # fmt: skip
    assert [i for i, leak in enumerate(leaks) if not secrets.found_in(unpacked(leak))] == []
    assert secrets.found_in(unpacked(b"an innocent text 48.12 and 187")) == []


@pytest.mark.parametrize("form", [False, True])
def test_an_upload_is_never_spooled_to_the_disk(settings, monkeypatch, form):
    """The real server, a body far above the size at which servers begin to use temporary files."""

    def refused(*_args, **_kwargs):
        raise AssertionError("a temporary file was opened")

    for name in ("TemporaryFile", "NamedTemporaryFile"):
        monkeypatch.setattr(tempfile, name, refused)
    server = Server(replace(settings, port=0))
    threading.Thread(target=server.run, daemon=True).start()
    fit, _ = built_fit(60_000)
    assert len(fit) > 2**19
    body, kind = fit, "application/octet-stream"
    if form:
        head = b'--edge\r\nContent-Disposition: form-data; name="file"; filename="a.fit"\r\n\r\n'
        body, kind = head + fit + b"\r\n--edge--\r\n", "multipart/form-data; boundary=edge"
    headers = {"X-Requested-With": "countercheck", "Origin": server.address, "Content-Type": kind, "X-File-Name": "a.fit"}
    with urllib.request.urlopen(urllib.request.Request(server.address + "/upload", data=body, headers=headers)) as answer:
        assert json.load(answer)["samples"] == 60_000
    server.close()


def test_a_reader_that_fails_leaves_nothing_of_the_file_in_the_log(real_app, monkeypatch, caplog):
    caplog.set_level(logging.DEBUG)
    reader = Children(Limits(), command=PLANTED)
    monkeypatch.setitem(real_app.server.config, CONFIG_KEY, replace(real_app.server.config[CONFIG_KEY], reader=reader))
    answer = send(real_app.server.test_client(), b"FAULT 48.1234567,-11.7654321", "a.csv")
    reader.close()
    assert answer.status_code == 422
    assert "ZeroDivisionError" in caplog.text
    assert "48.12345" not in caplog.text + answer.text


def test_the_command_line_writes_none_of_it_either(tmp_path):
    fit, secrets = built_fit()
    (tmp_path / "a.fit").write_bytes(fit)
    (tmp_path / "b.csv").write_bytes(built_csv(fit, secrets))
    out = tmp_path / "out"
    out.mkdir()
    outputs = [f"--{kind}={out / ('o.' + kind)}" for kind in ("json", "html", "csv")]
    assert cli.main(["compare", str(tmp_path / "a.fit"), str(tmp_path / "b.csv"), *outputs]) == 0
    assert len(list(out.iterdir())) == 3
    assert secrets.found_in(kept_bytes(out)) == []
