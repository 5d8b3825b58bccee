"""Invented trials, ready to be read, and the generators that made them.

One folder per trial: recordings, `setup.toml`, a README with origin and expected result, and its `make.py`. Reading a
trial imports nothing beyond the standard library; numpy is needed only to make one anew.
"""

from __future__ import annotations

from pathlib import Path

TRIALS = ("boathouse",)


def trial_folder(trial: str = "boathouse") -> Path:
    """Where a trial's files lie, beside this file, be it in the source tree or in an installed wheel.

    Raises
    ------
    KeyError
        No such trial; the message lists those there are.
    """
    if trial not in TRIALS:
        raise KeyError(f"no built-in trial {trial!r}; there are: {', '.join(TRIALS)}")
    return Path(__file__).resolve().parent / trial


def recordings(trial: str = "boathouse") -> dict[str, bytes]:
    """File name -> content of each recording of a trial, by name. Raises KeyError like `trial_folder`."""
    return {path.name: path.read_bytes() for path in sorted(trial_folder(trial).glob("*.fit"))}


def setup_text(trial: str = "boathouse") -> str:
    """The text of the trial's `setup.toml`. Raises KeyError like `trial_folder`."""
    return (trial_folder(trial) / "setup.toml").read_text(encoding="utf-8")
