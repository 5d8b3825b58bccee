"""The built-in trial: made from `sample_data/` on first use, found again afterwards."""

from __future__ import annotations

from app.comparing import read_bytes, read_setup
from app.places import sample_dir
from app.services import Services


def demo_trial(services: Services) -> str:
    """The id of the built-in trial, made when it is not there yet. Raises CountercheckError kinds."""
    folder = sample_dir()
    setup = read_setup(folder / "setup.toml")
    files = [d.file for d in setup.devices if d.file]
    read = services.jobs.engine.read
    recordings = [(services.store.put_recording(read(read_bytes(folder / file), name=file)), file) for file in files]
    found = services.store.find_trial(recordings, setup)
    return found or services.store.create_trial(recordings, setup).trial_id
