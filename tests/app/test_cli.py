"""The command line, with the real analysis on the built-in trial. Referees: exit codes, stderr, and issue 2's bad input."""

from __future__ import annotations

import csv
import gzip
import json
import os
import random
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import zipfile
from pathlib import Path

import pytest

from app import cli
from app.places import assets_dir, sample_dir

BOATHOUSE = sample_dir()
HUB, SPIDER, PEDALS = (str(BOATHOUSE / f"{name}.fit") for name in ("hub", "spider", "pedals"))
SETUP = str(BOATHOUSE / "setup.toml")
SECTIONS = {
    "schema", "version", "title", "reference", "headline", "recordings", "alignment", "blocks", "deltas", "summary",
    "response", "agreement", "findings",
}  # fmt: skip


def run(capsys, *arguments: str) -> tuple[int, str, list[str]]:
    try:
        code = cli.main(arguments)
    except SystemExit as ended:  # argparse
        code = ended.code
    told = capsys.readouterr()
    return code, told.out, told.err.splitlines()


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    """The built-in trial, compared once, with every output."""
    folder = tmp_path_factory.mktemp("out")
    outputs = ["--json", str(folder / "o.json"), "--html", str(folder / "o.html"), "--csv", str(folder / "o.csv")]
    assert cli.main(["compare", HUB, SPIDER, PEDALS, "--setup", SETUP, *outputs]) == 0
    return folder


def test_the_json_holds_every_section_of_the_contract(written):
    report = json.loads((written / "o.json").read_text(encoding="utf-8"))
    assert report.keys() >= SECTIONS
    assert (report["schema"], report["reference"]) == ("countercheck/1", "hub")
    assert [r["file"] for r in report["recordings"]] == ["hub.fit", "spider.fit", "pedals.fit"]
    assert {d["label"] for d in report["deltas"]} == {"spider", "pedals"}


def test_the_csv_and_the_html_say_what_the_json_says(written):
    report = json.loads((written / "o.json").read_text(encoding="utf-8"))
    with (written / "o.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(report["deltas"]) + len(report["summary"])
    for row, delta in zip(rows, report["deltas"], strict=False):
        delta_w = float(row["delta_w"]) if row["delta_w"] else None
        assert (row["block"], row["label"], delta_w) == (delta["block"], delta["label"], delta["delta_w"])
    page = (written / "o.html").read_text(encoding="utf-8")
    assert all(block["id"] in page for block in report["blocks"] if block["kind"] != "gap")
    assert len(report["headline"].split()) > 5
    assert report["headline"].split()[-1] in page


def test_without_outputs_it_prints_headline_and_table_within_100_columns(capsys):
    code, out, err = run(capsys, "compare", HUB, SPIDER, "--setup", SETUP)
    assert code == 2  # the set-up speaks of a third file, which was not given
    assert len(err) == 1
    assert "pedals.fit" in err[0]
    code, out, err = run(capsys, "compare", HUB, SPIDER)
    assert (code, err) == (0, [])
    lines = out.splitlines()
    assert max(map(len, lines)) <= 100
    assert any(re.match(r"B\d\d +steady +\d:\d\d:\d\d +spider +\d", line) for line in lines)
    assert any("verdict" in line for line in lines)


def test_another_reference_turns_the_sign(capsys, tmp_path, written):
    out = tmp_path / "o.json"
    arguments = ["compare", HUB, SPIDER, PEDALS, "--setup", SETUP, "--reference", "spider", "--json", str(out)]
    assert run(capsys, *arguments)[0] == 0
    ahead = {(d["kind"], d["label"]): d["delta_pct"] for d in json.loads((written / "o.json").read_text())["summary"]}
    turned = {(d["kind"], d["label"]): d["delta_pct"] for d in json.loads(out.read_text())["summary"]}
    d = ahead["all", "spider"]
    # ratios turned over: -d / (1 + d); the blocks are the same stretches to a second or two
    assert turned["all", "hub"] == pytest.approx(-100 * d / (100 + d), abs=0.2)


def test_a_reference_that_is_none_of_them_is_one_sentence(capsys):
    code, _, err = run(capsys, "compare", HUB, SPIDER, "--reference", "nobody")
    assert (code, len(err)) == (2, 1)
    assert "'nobody'" in err[0]


def broken(kind: str, folder: Path) -> Path:
    """One file of issue 2's list of bad input."""
    whole = Path(PEDALS).read_bytes()
    noise = random.Random(2).randbytes
    path = folder / {"no power": "heart.csv"}.get(kind, "bad.fit")
    stamps = "".join(f"2026-01-17T18:{i // 60:02d}:{i % 60:02d}Z,120\n" for i in range(600))
    contents = {
        "empty": lambda: b"",
        "wrong type": lambda: b"\x89PNG\r\n\x1a\n" + noise(2000),
        "text": lambda: b"not a ride\n" * 50,
        "cut in the head": lambda: whole[:13],
        "no power": lambda: f"time,heart_rate\n{stamps}".encode(),
        "same file": lambda: Path(HUB).read_bytes(),
        "noise": lambda: noise(40 * 2**20),
        "noise with a FIT head": lambda: whole[:14] + noise(40 * 2**20),
    }
    path.write_bytes(contents[kind]())
    return path


BAD = ("empty", "wrong type", "text", "cut in the head", "no power", "same file", "noise", "noise with a FIT head")


@pytest.mark.parametrize("kind", BAD)
def test_one_good_and_one_bad_file_are_one_sentence_that_names_the_bad_one(capsys, tmp_path, kind):
    bad = broken(kind, tmp_path)
    code, out, err = run(capsys, "compare", HUB, str(bad))
    assert (code, out, len(err)) == (2, "", 1)
    assert bad.name in err[0]
    assert err[0].endswith(".")


@pytest.mark.parametrize("kind", ["cut in the head", "no power", "same file"])
def test_a_bad_file_beside_two_good_ones_is_a_warning(capsys, tmp_path, kind):
    bad = broken(kind, tmp_path)
    code, out, err = run(capsys, "compare", HUB, str(bad), SPIDER)
    assert (code, len(err)) == (0, 1)
    assert err[0].startswith("warning: ")
    assert bad.name in err[0]
    assert "spider" in out


@pytest.mark.parametrize("kind", ["cut half-way", "wrong checksum"])
def test_a_damaged_recording_is_used_with_a_note_or_refused_by_name(capsys, tmp_path, kind):
    whole = Path(PEDALS).read_bytes()
    bad = tmp_path / "damaged.fit"
    bad.write_bytes(whole[: len(whole) // 2] if kind == "cut half-way" else whole[:-1] + bytes([whole[-1] ^ 0xFF]))
    code, out, err = run(capsys, "compare", HUB, str(bad))
    told = out if code == 0 else err[0]
    assert code in (0, 2)
    assert "damaged" in told
    assert re.search(r"checksum|CRC|cut|truncated|ends|incomplete", told, re.IGNORECASE), told[:2000]


def test_a_recording_of_another_day_costs_the_others_nothing(capsys, tmp_path):
    other = tmp_path / "other.csv"
    rows = (f"2020-05-01T10:{i // 60:02d}:{i % 60:02d}Z,{150 + i % 7}\n" for i in range(1200))
    other.write_text("time,power\n" + "".join(rows))
    code, out, err = run(capsys, "compare", HUB, SPIDER, str(other))
    assert (code, len(err)) == (0, 1)
    assert "other.csv" in err[0]
    assert "spider" in out
    code, out, err = run(capsys, "compare", HUB, str(other))
    assert (code, out, len(err)) == (2, "", 1)
    assert "other.csv" in err[0]


def test_an_archive_stands_for_the_files_in_it(capsys, tmp_path, written):
    rides, hub = tmp_path / "rides.zip", tmp_path / "hub.fit.gz"
    with zipfile.ZipFile(rides, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in (HUB, SPIDER, PEDALS):
            archive.write(path, f"evening/{Path(path).name}")
    out = tmp_path / "o.json"
    assert run(capsys, "compare", str(rides), "--setup", SETUP, "--json", str(out)) == (0, "", [])
    assert json.loads(out.read_text()) == json.loads((written / "o.json").read_text())
    # one packed, one plain; a bad one among them costs only itself
    hub.write_bytes(gzip.compress(Path(HUB).read_bytes()))
    with zipfile.ZipFile(rides, "a") as archive:
        archive.writestr("evening/notes.txt", "remember the torque")
    code, out, err = run(capsys, "compare", str(hub), SPIDER)
    assert (code, err) == (0, [])
    assert "spider" in out
    code, out, err = run(capsys, "compare", str(rides))
    assert (code, len(err)) == (0, 1)
    assert "notes.txt" in err[0]


def test_a_damaged_archive_is_one_sentence(capsys, tmp_path):
    (tmp_path / "rides.zip").write_bytes(b"PK\x03\x04 no archive")
    code, _, err = run(capsys, "compare", str(tmp_path / "rides.zip"), HUB)
    assert (code, len(err)) == (2, 1)
    assert "rides.zip is a damaged zip archive" in err[0]


def test_one_file_only(capsys):
    code, _, err = run(capsys, "compare", HUB)
    assert (code, err) == (2, ["Only one recording was given (hub.fit); give at least two of the same ride."])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["compare", "{here}/nothing.fit", "{here}/nothing2.fit"], ["nothing.fit", "does not exist"]),
        (["compare", HUB, "{here}"], ["{here}", "is a folder"]),
        (["compare", HUB, "bad\0name"], ["bad"]),
        (["compare", HUB, SPIDER, "--setup", "{here}/none.toml"], ["none.toml", "does not exist"]),
        (["compare", HUB, SPIDER, "--setup", HUB], ["hub.fit", "UTF-8"]),
        (["compare", HUB, SPIDER, "--setup", "{here}/odd.toml"], ["odd.toml", "colour"]),
        (["compare", HUB, SPIDER, "--json", "{here}/no/o.json"], ["o.json", "does not exist"]),
        (["compare", HUB, SPIDER, "--csv", "{here}"], ["{here}", "is a folder"]),
        (["compare", HUB, SPIDER, "--html", SPIDER], ["spider.fit", "not overwritten"]),
        (["compare", HUB, SPIDER, "--json", "{here}/o", "--csv", "{here}/o"], ["same name"]),
        (["compare"], ["FILE"]),
        (["compare", HUB, SPIDER, "--colour"], ["--colour"]),
        ([], ["COMMAND"]),
        (["sing"], ["sing"]),
        (["serve", "--port", "http"], ["port", "'http'"]),
        (["serve", "--port", "70000"], ["port"]),
    ],
)
def test_a_wrong_command_line_is_said_on_stderr_with_code_2(capsys, tmp_path, arguments, words):
    (tmp_path / "odd.toml").write_text('[trial]\ncolour = "red"\n')
    spider = Path(SPIDER).read_bytes()
    code, out, err = run(capsys, *(a.format(here=tmp_path) for a in arguments))
    assert (code, out) == (2, "")
    assert 1 <= len(err) <= 2  # one sentence per file that is at fault
    assert all(word.format(here=tmp_path) in err[0] for word in words), err
    assert Path(SPIDER).read_bytes() == spider


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_that_may_not_be_read_is_one_sentence(capsys, tmp_path):
    closed = tmp_path / "closed.fit"
    closed.write_bytes(b"x")
    closed.chmod(0)
    code, _, err = run(capsys, "compare", HUB, str(closed))
    assert (code, len(err)) == (2, 1)
    assert "closed.fit may not be read" in err[0]


def test_a_permission_refused_by_the_system_is_one_sentence(capsys, monkeypatch):
    # stands in for the test above where the tests run as the superuser
    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    code, _, err = run(capsys, "compare", HUB, SPIDER)
    assert code == 2
    assert all("may not be read" in line for line in err)
    assert "hub.fit" in err[0]


def test_two_files_of_one_name_are_told_apart_and_the_set_up_may_name_paths(capsys, tmp_path):
    for name, source in (("left", HUB), ("right", SPIDER)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "ride.fit").write_bytes(Path(source).read_bytes())
    one, two = str(tmp_path / "left" / "ride.fit"), str(tmp_path / "right" / "ride.fit")
    setup = tmp_path / "setup.toml"
    setup.write_text(f"[[device]]\nfile = '{one}'\nlabel = 'wheel'\n[[device]]\nfile = '{two}'\nlabel = 'arm'\n")
    out = tmp_path / "o.json"
    assert run(capsys, "compare", one, two, "--setup", str(setup), "--json", str(out))[0] == 0
    recordings = json.loads(out.read_text())["recordings"]
    assert [(r["label"], r["file"]) for r in recordings] == [("wheel", "ride.fit"), ("arm", "ride (2).fit")]


def test_an_output_that_cannot_be_written_is_one_sentence(capsys, monkeypatch, tmp_path):
    def full(self, *args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "open", full)
    monkeypatch.setattr("app.comparing.outcome_of", lambda *a: (type("C", (), {"to_dict": lambda s: {}})(), ()))
    code, _, err = run(capsys, "compare", HUB, SPIDER, "--json", str(tmp_path / "o.json"))
    assert (code, len(err)) == (2, 1)
    assert "No space left" in err[0]
    assert "o.json" in err[0]


def test_as_a_process_of_its_own_it_starts_without_the_servers_libraries(tmp_path):
    # a second process, so that what other tests imported does not count
    code = (
        "import sys; from app.cli import main\n"
        f"code = main(['compare', {HUB!r}, 'nothing.fit'])\n"
        "print(code, sorted(m for m in ('dash', 'flask', 'plotly', 'sqlalchemy', 'diskcache') if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, timeout=120)
    assert done.stdout.strip() == "2 []"
    assert done.stderr.strip() == "nothing.fit does not exist; check the path."


@pytest.fixture
def started():
    running = []

    def start(*arguments: str) -> tuple[subprocess.Popen, str]:
        command = [sys.executable, "-m", "app.cli", *arguments]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        running.append(process)
        return process, process.stdout.readline()

    yield start
    for process in running:
        process.kill()
        process.communicate()


def test_demo_prints_an_address_that_answers_with_the_built_in_trial(started, tmp_path, monkeypatch):
    with socket.socket() as taken:  # the usual port may be in use; the demo then takes another
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        usual = str(taken.getsockname()[1])
        monkeypatch.setenv("COUNTERCHECK_PORT", usual)
        _, line = started("demo", "--no-browser", "--data-dir", str(tmp_path / "data"))
    address = re.search(r"http://127\.0\.0\.1:\d+/trial/[\w-]+", line)[0]
    assert f":{usual}/" not in address
    result = {}
    end = time.monotonic() + 60
    while not result and time.monotonic() < end:
        try:
            with urllib.request.urlopen(f"{address}/result.json", timeout=20) as answer:
                result = json.load(answer)
        except urllib.error.HTTPError as still_working:
            assert still_working.code == 503, still_working.read()
            time.sleep(0.2)
    assert result["title"] == "Boathouse, a cold evening"
    assert {r["label"] for r in result["recordings"]} == {"hub", "spider", "pedals"}


def test_a_port_in_use_is_one_sentence_with_what_to_do(capsys, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        code, _, err = run(capsys, "serve", "--port", port, "--data-dir", str(tmp_path / "data"))
    assert (code, len(err)) == (2, 1)
    assert port in err[0]
    assert "--port" in err[0]


def test_a_data_folder_that_is_a_file_is_one_sentence(capsys, tmp_path):
    (tmp_path / "file").write_text("x")
    code, _, err = run(capsys, "serve", "--port", "0", "--data-dir", str(tmp_path / "file"))
    assert (code, len(err)) == (2, 1)
    assert "--data-dir" in err[0]


def test_an_interrupt_ends_quietly(capsys, monkeypatch):
    def interrupted(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("app.comparing.run", interrupted)
    assert run(capsys, "compare", HUB, SPIDER) == (130, "", [])


def test_the_shipped_folders_are_where_the_program_looks():
    assert (assets_dir() / "favicon.ico").is_file()
    assert (BOATHOUSE / "setup.toml").is_file()


def test_a_reader_that_closes_the_pipe_early_sees_no_traceback():
    """As with `countercheck compare ... | head -1`."""
    command = [sys.executable, "-m", "app.cli", "compare", HUB, PEDALS]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    process.stdout.close()
    assert "Traceback" not in process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == 141
