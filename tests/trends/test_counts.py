"""Counted events: the negative binomial worked out by its first terms.

With a shape n and q = width / (odds + width) the chance of k events is (1 - q)^n c_k q^k, where
c_0 = 1 and c_k = c_(k-1) (n + k - 1) / k.
"""

from __future__ import annotations

import pytest

from telemetry.trends.counts import judge_counts

EASY = 1.0 / (4 * 0.9)  # a level of 0.9: what may be judged at all is told
TEN = [0] * 10


def at_least(k: int, n: float, odds: float, width: int) -> float:
    q = width / (odds + width)
    term, below = (1.0 - q) ** n, 0.0
    for i in range(k):
        below += term
        term *= (n + i) / (i + 1) * q
    return 1.0 - below


def judged(counts, others=(), *, first: int = 0, run: float = EASY):
    return judge_counts(counts, others, first=first, run=run)


def test_two_and_two_after_ten_flights_without() -> None:
    # Known beforehand: half an event in five flights; none in ten: 0.5 in 15.
    found = judged([*TEN, 2, 2])
    assert found is not None
    assert (found.count, found.flights, found.since) == (4, 2, 10)
    assert found.usual == pytest.approx(0.5 / 15)
    q = 2 / 17
    below = (15 / 17) ** 0.5 * (1 + 0.5 * q + 0.375 * q**2 + 0.3125 * q**3)
    assert found.p == pytest.approx(1 - below)


def test_events_before_raise_the_usual_rate() -> None:
    found = judged([1, *TEN[1:], 2, 2])
    assert found is not None
    assert found.usual == pytest.approx(1.5 / 15)
    q = 2 / 17
    below = (15 / 17) ** 1.5 * (1 + 1.5 * q + 1.875 * q**2 + 2.1875 * q**3)
    assert found.p == pytest.approx(1 - below)


def test_other_places_count_in_the_same_flights_alone() -> None:
    others = [[9] * 10 + [0, 3], [9] * 10 + [1, 0]]
    found = judged([*TEN, 2, 2], others)
    assert found is not None
    # 0.5 and 4 in 5 + 10 + 2 + 2 flights; held for no surer than two events.
    assert found.usual == pytest.approx(4.5 / 19)
    assert found.p == pytest.approx(at_least(4, 2.0, 2.0 / (4.5 / 19), 2))


def test_up_to_two_events_the_rate_is_as_sure_as_they_say() -> None:
    found = judged([*TEN, 2, 2], [[0] * 10 + [1, 0]])
    assert found is not None
    assert found.p == pytest.approx(at_least(4, 1.5, 17, 2))


@pytest.mark.parametrize(("part", "told"), [(1.001, True), (0.999, False)])
def test_told_below_the_chance_of_one_run_over_its_windows(part: float, told: bool) -> None:
    p = at_least(4, 0.5, 15, 2)
    assert (judged([*TEN, 2, 2], run=1.0 / (part * p * 4)) is not None) is told


@pytest.mark.parametrize(
    ("last", "width"),
    [([3], 1), ([1, 1], 2), ([1, 0, 1], 3), ([1, 0, 0, 1], 4)],
    ids=["one flight", "two", "three", "four"],
)
def test_windows_of_up_to_four_flights(last: list[int], width: int) -> None:
    found = judged([*TEN, *last])
    assert found is not None
    assert found.since == 10
    assert found.flights == sum(c > 0 for c in last)
    assert found.p == pytest.approx(at_least(sum(last), 0.5, 15, width))


@pytest.mark.parametrize(
    "last",
    [[2], [1, 0, 0, 0, 1], [2, 0, 0, 0, 2], []],
    ids=["two alone", "apart", "and more", "none"],
)
def test_less_than_three_in_one_flight_tell_nothing(last: list[int]) -> None:
    assert judged([*TEN, *last]) is None


def test_what_follows_the_first_signal_belongs_to_it() -> None:
    found = judged([*TEN, 3, 0, 0, 0, 0, 0, 1])
    assert found is not None
    assert (found.count, found.flights, found.since) == (4, 2, 10)
    assert found.p == pytest.approx(at_least(3, 0.5, 15, 1))


def test_a_baseline_of_no_flight_is_what_is_known_beforehand() -> None:
    found = judged([9, 0, 0])
    assert found is not None
    assert (found.since, found.usual) == (0, pytest.approx(0.1))
    assert found.p == pytest.approx(at_least(9, 0.5, 5, 1), rel=1e-3)


def test_flights_before_the_first_do_not_count() -> None:
    found = judged([7, 7, 7, 0, 0, 2, 2], first=3)
    assert found is not None
    # 0.5 in 5 + 2 flights.
    assert found.usual == pytest.approx(0.5 / 7)
    assert found.p == pytest.approx(at_least(4, 0.5, 7, 2))
    # Nor may a window begin before it.
    assert judged([0, 0, 2, 2], first=3) is None
    begins = judged([0, 0, 2, 2], first=2)
    assert begins is not None
    assert begins.p == pytest.approx(at_least(4, 0.5, 5, 2))
