"""What the page does about clocks: the pictures of the alignment, and the shifts that the trial's owner keeps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.errors import BadSetup
from app import drawings, showing
from app.editing import version_of
from app.nudges import shifts_of, with_shifts
from app.services import get_services


def picture(trial_id: Any, name: Any, theme: Any) -> Any:
    """One picture by its component's id; None while there is no result, or for an id of no picture of this trial."""
    found = showing.open_trial(trial_id)
    index = name.get("index") if isinstance(name, Mapping) else None
    if found is None or not isinstance(index, str):
        return None
    return drawings.clock(found, index, showing.theme_of(theme))


def keep(trial_id: str, form: Any) -> None:
    """Put the shifts of a form into the trial's set-up; all else in it stays. The caller has checked the key.

    Raises
    ------
    BadSetup
        The form names a recording that is not there, or the reference, or what it gives is no shift.
    ChangedMeanwhile
        The set-up is no longer the one that was on the screen.
    """
    store = get_services().store
    stored = store.trial(trial_id)
    found = showing.open_trial(trial_id)
    labels = {r["file"]: r["label"] for r in found.report["recordings"]} if found else {}
    shifts = shifts_of(form, [name for _, name in stored.recordings])
    if found and any(labels.get(file) == found.report["reference"] for file in shifts):
        raise BadSetup("The reference's clock is the trial's own; set the shift of another recording.")
    setup = with_shifts(stored.setup, shifts, labels)
    store.change_setup(trial_id, setup, seen_version=version_of(form))
