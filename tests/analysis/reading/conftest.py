"""The folder of real recordings, or a skip that says why."""

from __future__ import annotations

from pathlib import Path

import pytest
from real_rides import RIDES


@pytest.fixture(scope="session")
def rides() -> Path:
    if not (RIDES / "expected.json").exists():
        pytest.skip(f"the folder of real recordings is absent ({RIDES.name}/ beside the repository)")
    return RIDES
