"""Stretches of a series by their length."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.numerics.statistics import windows as module
from telemetry.numerics.statistics.windows import windows

V = np.arange(10.0) ** 2


def test_stretches_of_one_length_come_together() -> None:
    first, end = np.array([0, 4, 3, 9, 5]), np.array([2, 6, 6, 9, 7])
    found = [(which.tolist(), values.tolist()) for which, values in windows(V, first, end)]
    assert found == [
        ([0, 1, 4], [[0, 1], [16, 25], [25, 36]]),
        ([2], [[9, 16, 25]]),
    ]  # the fourth holds nothing


def test_of_none_there_is_none() -> None:
    assert list(windows(V, np.array([3]), np.array([3]))) == []
    assert list(windows(V, np.empty(0, np.intp), np.empty(0, np.intp))) == []


@pytest.mark.parametrize("most", [1, 4, 7, 1000])
def test_many_are_taken_in_parts(most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_VALUES", most)
    first = np.arange(7)
    seen: dict[int, list[float]] = {}
    for which, values in windows(V, first, first + 3):
        assert values.size <= max(most, 3)
        seen |= dict(zip(which.tolist(), values.tolist(), strict=True))
    assert seen == {k: V[k : k + 3].tolist() for k in range(7)}
