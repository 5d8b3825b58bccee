"""FIT: bytes -> Recording."""

from __future__ import annotations

import numpy as np

from analysis.errors import UnreadableFile
from analysis.reading import fit_facts
from analysis.reading.assemble import assemble
from analysis.reading.clock import MAX_SPAN_S, middle_stamp
from analysis.reading.fit_channels import FIELDS, channels
from analysis.reading.fit_decode import decode
from analysis.reading.recording import Recording

# FIT time zero, 1989-12-31T00:00:00Z, as Unix seconds: constant in fitparse.processors.
EPOCH_S = 631065600
# Stamps below this count seconds since power-on and are no dates: same place.
FIRST_DATE = 0x10000000


def read_fit(data: bytes, *, name: str) -> Recording:
    """Read a FIT file. Raises UnreadableFile when there is no header, no sample, or too little that is sound."""
    content = decode(data, name=name, fields=FIELDS)
    stamps = content.records.get("timestamp", np.zeros(0))
    middle = middle_stamp(stamps)
    if not np.isfinite(middle):
        raise UnreadableFile(
            f"{name} is a FIT file without samples; choose the file of a recorded ride, not a settings or workout file."
        )
    values, warnings = channels(content)
    absolute = middle >= FIRST_DATE
    near = np.abs(stamps - middle) <= MAX_SPAN_S  # without stamps that damage moved far away
    known = fit_facts.facts(content, float(stamps[near].min()))
    return assemble(
        data=data,
        name=name,
        format="fit",
        time_s=stamps + EPOCH_S if absolute else stamps,
        values=values,
        absolute_clock=absolute,
        facts=known,
        warnings=[*content.warnings, *warnings],
    )
