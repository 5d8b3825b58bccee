"""What was drawn once is not drawn again, and never stands for another result."""

from __future__ import annotations

from app.remembered import Remembered


def test_one_result_is_drawn_once_and_another_like_it_for_itself():
    kept, made = Remembered(), []
    one, twin = {"a": 1}, {"a": 1}

    def draw():
        made.append(len(made))
        return made[-1]

    assert [kept.of(one, "overlay", draw) for _ in range(3)] == [0, 0, 0]
    assert kept.of(twin, "overlay", draw) == 1
    assert kept.of(one, "dark", draw) == 2


def test_only_the_last_ones_are_kept():
    kept = Remembered(most=2)
    results = [object() for _ in range(3)]
    for result in results:
        kept.of(result, "overlay", lambda: "first")
    assert kept.of(results[2], "overlay", lambda: "again") == "first"
    assert kept.of(results[0], "overlay", lambda: "again") == "again"
