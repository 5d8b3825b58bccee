"""The folder of real recordings, or a skip that says why; and the nightly marker."""

from __future__ import annotations

from pathlib import Path

import pytest
from real_rides import RIDES


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "nightly: takes many minutes; run with `pytest -m nightly`")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if "nightly" in (config.option.markexpr or ""):
        return
    for item in items:
        if item.get_closest_marker("nightly"):
            item.add_marker(pytest.mark.skip(reason="takes many minutes; run with `pytest -m nightly`"))


@pytest.fixture(scope="session")
def rides() -> Path:
    if not (RIDES / "expected.json").exists():
        pytest.skip(f"the folder of real recordings is absent ({RIDES.name}/ beside the repository)")
    return RIDES
