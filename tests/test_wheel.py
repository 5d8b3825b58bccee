"""An installed wheel carries all that the demo needs: built here, unpacked elsewhere, run from an empty folder."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SERVE_DEMO = """
import sys, tempfile
from pathlib import Path
import analysis, app
here = Path(sys.argv[1])
assert here in Path(app.__file__).parents and here in Path(analysis.__file__).parents, app.__file__
from app.demo import demo_trial
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings
server = create_app(Settings.from_environment(data_dir=tempfile.mkdtemp())).server
client = server.test_client()
assert client.get("/").status_code == 200
assert client.get("/assets/01-paper.css").status_code == 200
services = server.config[CONFIG_KEY]
print(services.jobs.ask(demo_trial(services)))
"""


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    out = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    with zipfile.ZipFile(next(out.glob("*.whl"))) as wheel:
        wheel.extractall(out / "site")
        return out / "site", wheel.namelist()


def test_wheel_holds_assets_and_sample_data_and_no_leavings(unpacked):
    _, names = unpacked
    ride = "sample_data/boathouse/"
    for wanted in ("assets/01-paper.css", "assets/30-scrub.js", f"{ride}hub.fit", f"{ride}setup.toml"):
        assert any(name.endswith(wanted) for name in names), wanted
    assert not [n for n in names if "__pycache__" in n or n.startswith("tests/")]


def test_demo_starts_from_the_wheel_in_an_empty_folder(unpacked, tmp_path):
    site, _ = unpacked
    environment = {**os.environ, "PYTHONPATH": str(site)}
    done = subprocess.run(
        [sys.executable, "-c", SERVE_DEMO, str(site)], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Working" in done.stdout or "Ready" in done.stdout
