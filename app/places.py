"""Where the shipped files lie: beside the packages in a checkout, inside `app` in an installed wheel."""

from __future__ import annotations

from pathlib import Path

_APP = Path(__file__).resolve().parent


def shipped(name: str) -> Path:
    """Folder `assets` or `sample_data`; the wheel's copy first, as pyproject's force-include puts it there."""
    inside = _APP / "_shipped" / name
    return inside if inside.is_dir() else _APP.parent / name


def assets_dir() -> Path:
    """Styles, scripts and pictures that the browser is served."""
    return shipped("assets")


def sample_dir(trial: str = "boathouse") -> Path:
    """One built-in trial: its recordings and `setup.toml`."""
    return shipped("sample_data") / trial
