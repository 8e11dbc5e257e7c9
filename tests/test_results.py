from __future__ import annotations

from itertools import permutations, product

import pytest

from telemetry.results import Finding, Level, Review

GRAVITY = (Level.CLEAR, Level.UNKNOWN, Level.WATCH, Level.GROUND)


@pytest.mark.parametrize(("a", "b"), list(product(range(4), range(4))))
def test_levels_compare_by_gravity_not_by_alphabet(a: int, b: int) -> None:
    low, high = GRAVITY[a], GRAVITY[b]
    assert (low < high, low <= high, low > high, low >= high) == (a < b, a <= b, a > b, a >= b)


@pytest.mark.parametrize("order", list(permutations(GRAVITY)))
def test_the_worst_level_is_the_greatest_in_any_order(order: tuple[Level, ...]) -> None:
    assert max(order) is Level.GROUND
    assert min(order) is Level.CLEAR
    assert sorted(order) == list(GRAVITY)


@pytest.mark.parametrize(
    ("levels", "verdict"),
    [
        ((), "clear"),
        (("unknown", "clear"), "unknown"),
        (("ground", "watch"), "ground"),
        (("watch", "ground", "unknown"), "ground"),
        (("unknown", "watch"), "watch"),
    ],
)
def test_the_verdict_is_the_worst_finding(
    make_review: object, levels: tuple[str, ...], verdict: str
) -> None:
    findings = tuple(Finding(code="x", level=Level(v), place=None, title="t") for v in levels)
    review: Review = make_review(seconds=20.0, findings=findings)  # type: ignore[operator]
    assert review.verdict == Level(verdict)
