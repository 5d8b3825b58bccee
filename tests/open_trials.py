"""Results opened as the server opens them, for tests of what is made from them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from analysis import pipeline, reading
from analysis.archive import OpenTrial, pack, unpack
from analysis.setup import Setup
from app.comparing import read_setup

BOATHOUSE = Path(__file__).parents[1] / "sample_data" / "boathouse"


def opened(comparison) -> OpenTrial:
    """As it comes back from the cache."""
    return unpack(pack(comparison))


def boathouse(change=lambda setup: setup) -> OpenTrial:
    """The built-in trial, its set-up changed first."""
    setup: Setup = change(read_setup(BOATHOUSE / "setup.toml"))
    files = [BOATHOUSE / device.file for device in setup.devices]
    return opened(pipeline.compare([reading.read(f.read_bytes(), name=f.name) for f in files], setup))


def with_names(title: str, *labels: str):
    """A change of the set-up: another title, and other labels for the first devices, the reference first."""

    def change(setup: Setup) -> Setup:
        devices = [replace(d, label=one) for d, one in zip(setup.devices, labels, strict=False)]
        return replace(setup, title=title, reference=labels[0], devices=(*devices, *setup.devices[len(labels) :]))

    return change
