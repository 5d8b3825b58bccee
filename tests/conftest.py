"""What runs only when asked for: benchmarks, which time things, and nightly runs, which take many minutes."""

from __future__ import annotations

import pytest

ON_REQUEST = {
    "bench": "a benchmark; run with `pytest tests/bench -m bench`",
    "load": "has fifty readers for a minute; run with `pytest tests/load -m load -s`",
    "nightly": "takes many minutes; run with `pytest -m nightly`",
}


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    for marker, reason in ON_REQUEST.items():
        if marker in (config.option.markexpr or ""):
            continue
        for item in items:
            if item.get_closest_marker(marker):
                item.add_marker(pytest.mark.skip(reason=reason))
