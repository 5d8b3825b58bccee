"""The checklist names tests that exist and leaves no requirement out. Referee: the tests' own source."""

from __future__ import annotations

import ast
from collections import Counter
from functools import cache
from pathlib import Path

import pytest
from checklist import ALL, COUNTS

ROOT = Path(__file__).resolve().parents[2]


@cache
def known_names() -> frozenset[str]:
    """Names of every test function that runs in the normal suite."""
    found = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        if {"bench", "load"} & set(path.parts):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found |= {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}
    return frozenset(found)


@pytest.mark.parametrize("row", ALL, ids=lambda row: row.number)
def test_each_requirement_has_a_test_that_exists_or_a_reason(row):
    assert row.tests or row.reason
    assert [name for name in row.tests if name not in known_names()] == []


def test_no_requirement_is_left_out_or_there_twice():
    numbers = [row.number for row in ALL]
    assert len(set(numbers)) == len(numbers)
    assert Counter(number[0] for number in numbers) == COUNTS


def test_the_readme_names_formats_and_ceilings():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for word in ("FIT", "TCX", "GPX", "CSV", ".gz", ".zip", "64 MB", "24 at once"):
        assert word in readme
