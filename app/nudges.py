"""Clocks moved by hand: what a browser asks to see, and what its owner asks to keep. Pure; no dash, no store."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from analysis.errors import BadSetup
from analysis.nudging import nudged
from analysis.setup import Setup, setup_from_dict
from analysis.trial import Trial

MAX_NUDGE_S = 366 * 86400.0  # a clock a year wrong; beyond it a browser is playing


def moved(trial: Trial, sent: Any) -> tuple[Trial, dict[str, float]]:
    """The trial as a browser asks to see it, and by how much each recording was moved; nonsense moves nothing. [s]"""
    entries = sent.items() if isinstance(sent, Mapping) else ()
    by_s = {label: float(by) for label, by in entries if label in trial.labels[1:] and _is_number(by) and abs(by) <= MAX_NUDGE_S}
    return (nudged(trial, by_s), by_s) if by_s else (trial, {})


def shifts_of(form: Any, names: Sequence[str]) -> dict[str, float | None]:
    """File name -> shift, None for back to automatic, as the browser sent it. [s]

    Raises
    ------
    BadSetup
        There is none, it names a file that the trial lacks, or a shift is no number.
    """
    sent = form.get("shifts") if isinstance(form, Mapping) else None
    if not isinstance(sent, Mapping) or not sent:
        raise BadSetup("No shift was given; move a clock first, then keep it.")
    for file, shift_s in sent.items():
        if file not in names:
            raise BadSetup(f"This trial has no file called {str(file)[:200]!r}; reload the page and try again.")
        if shift_s is not None and not _is_number(shift_s):
            raise BadSetup(f"The shift of {file} must be a number of seconds; got {str(shift_s)[:40]!r}.")
    return dict(sent)


def with_shifts(setup: Setup, shifts: Mapping[str, float | None], labels: Mapping[str, str]) -> Setup:
    """The set-up with these shifts by hand and all else as it was; `labels` are by file name.

    Raises BadSetup for a shift that no set-up may hold.
    """
    tree = setup.to_dict()
    for file, shift_s in shifts.items():
        entry = _entry(tree["device"], file, labels.get(file))
        entry.pop("shift_s", None)
        if shift_s is not None:
            entry["shift_s"] = float(shift_s)
    return setup_from_dict(tree, name="The shift by hand")


def _entry(devices: list[dict[str, Any]], file: str, label: str | None) -> dict[str, Any]:
    """What the set-up says of a file, by its name, then by its label; a new entry where it says nothing."""
    for found in (d for d in devices if d.get("file") == file):
        return found
    for found in (d for d in devices if "file" not in d and label is not None and d.get("label") == label):
        return found
    devices.append({"file": file})
    return devices[-1]


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
