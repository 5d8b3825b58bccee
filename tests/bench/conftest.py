"""Benchmarks run only when asked for: they time things, and a busy machine would fail them."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if "bench" in (config.option.markexpr or ""):
        return
    for item in items:
        if item.get_closest_marker("bench"):
            item.add_marker(pytest.mark.skip(reason="a benchmark; run with `pytest tests/bench -m bench`"))
