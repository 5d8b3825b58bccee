"""A recording that was read once, as bytes: so that a new set-up of the same files need not read them again.

A zip of plain arrays (numpy's npz, pickling off) and one JSON text; evictable like every result.
"""

from __future__ import annotations

import io
import json
from typing import Any

import numpy as np
import pandas as pd

from analysis.reading.recording import Recording

_META = "about"
_COLUMN = "column:"


def pack_recording(recording: Recording) -> bytes:
    """Bytes from which `unpack_recording` makes an equal recording.

    Raises
    ------
    TypeError, ValueError
        A column or a fact that is neither number nor text.
    """
    about = {field: value for field, value in vars(recording).items() if field != "samples"}
    arrays: dict[str, Any] = {_META: np.frombuffer(json.dumps(about).encode(), dtype=np.uint8)}
    for name, column in recording.samples.items():
        values = column.to_numpy()
        if values.dtype.kind not in "fiub":
            raise TypeError(f"Column {name} holds {values.dtype}, not numbers.")
        arrays[f"{_COLUMN}{name}"] = values
    stream = io.BytesIO()
    np.savez(stream, **arrays)
    return stream.getvalue()


def unpack_recording(data: bytes) -> Recording:
    """The recording back. Raises ValueError or KeyError on bytes that `pack_recording` did not make."""
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        about = json.loads(arrays[_META].tobytes())
        columns = {k.removeprefix(_COLUMN): arrays[k] for k in arrays.files if k.startswith(_COLUMN)}
    return Recording(
        **about | {"channels": tuple(about["channels"]), "warnings": tuple(about["warnings"])},
        samples=pd.DataFrame(columns, copy=False),
    )
