"""Masks and spans, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.numerics import spans


def test_latch_by_hand() -> None:
    arm = np.array([0, 1, 0, 0, 1, 0, 1], dtype=bool)
    release = np.array([1, 0, 0, 1, 1, 0, 0], dtype=bool)
    assert spans.latch(arm, release).tolist() == [False, True, True, False, False, False, True]


@given(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=1, max_size=40))
def test_latch_against_a_plain_loop(pairs: list[tuple[bool, bool]]) -> None:
    state, want = False, []
    for arm, release in pairs:
        state = False if release else (True if arm else state)
        want.append(state)
    arm_a, release_a = (np.array(x) for x in zip(*pairs, strict=True))
    assert spans.latch(arm_a, release_a).tolist() == want


def test_spans_end_at_the_next_sample_and_are_cut_at_gaps() -> None:
    t = np.array([0.0, 1.0, 2.0, 3.0, 10.0, 11.0])
    mask = np.array([False, True, True, True, True, False])
    assert spans.mask_to_spans(t, mask, hold_s=2.0) == [(1.0, 5.0), (10.0, 11.0)]
    assert spans.mask_to_spans(t, np.ones(6, dtype=bool), hold_s=2.0) == [(0.0, 5.0), (10.0, 13.0)]
    assert spans.mask_to_spans(np.empty(0), np.empty(0, dtype=bool), hold_s=1.0) == []


def test_merge_longer_complement_overlap() -> None:
    assert spans.merge([(0, 1), (1.5, 2), (5, 6)], 1.0) == [(0, 2), (5, 6)]
    assert spans.longer([(0, 1), (2, 5)], 2.0) == [(2, 5)]
    assert spans.complement([(1, 2), (4, 9)], 0, 6) == [(0, 1), (2, 4)]
    assert spans.complement([], 0, 6) == [(0, 6)]
    assert spans.overlap_s((0, 5), (3, 9)) == pytest.approx(2)
    assert spans.overlap_s((0, 1), (3, 9)) == 0.0


def test_a_step_of_just_the_hold_is_no_gap() -> None:
    t = np.array([0.0, 2.0, 4.001, 5.0])
    mask = np.ones(4, dtype=bool)
    assert spans.mask_to_spans(t, mask, hold_s=2.0) == [(0.0, 4.0), (4.001, 7.0)]


def test_a_gap_before_or_after_a_run_cuts_nothing_of_it() -> None:
    t = np.array([0.0, 10.0, 11.0, 20.0])
    mask = np.array([False, True, True, False])
    assert spans.mask_to_spans(t, mask, hold_s=2.0) == [(10.0, 13.0)]
    assert spans.mask_to_spans(t, ~mask, hold_s=2.0) == [(0.0, 2.0), (20.0, 22.0)]


def test_a_run_of_single_samples_apart_is_cut_into_each() -> None:
    t = np.array([0.0, 10.0, 20.0])
    found = spans.mask_to_spans(t, np.ones(3, dtype=bool), hold_s=1.0)
    assert found == [(0.0, 1.0), (10.0, 11.0), (20.0, 21.0)]


def test_runs_by_hand() -> None:
    mask = np.array([True, True, False, True, False, False, True])
    assert spans.runs(mask) == [(0, 2), (3, 4), (6, 7)]
    assert spans.runs(np.zeros(3, dtype=bool)) == []
    assert spans.runs(np.ones(3, dtype=bool)) == [(0, 3)]


@pytest.mark.parametrize(
    ("given", "pause_s", "joined"),
    [
        ([(0, 1), (2, 3)], 1.0, [(0, 1), (2, 3)]),  # a pause of just so long parts them
        ([(0, 1), (2, 3)], 1.001, [(0, 3)]),
        ([(0, 9), (2, 3)], 1.0, [(0, 9)]),  # one within the other
        ([(0, 1), (1, 2), (2, 3)], 0.5, [(0, 3)]),
        ([(0, 1), (1.5, 2), (2.4, 3)], 0.6, [(0, 3)]),
        ([], 1.0, []),
    ],
)
def test_pauses_shorter_than_asked_are_joined(
    given: list[tuple[float, float]], pause_s: float, joined: list[tuple[float, float]]
) -> None:
    assert spans.merge(given, pause_s) == joined


def test_as_long_as_asked_is_long_enough() -> None:
    assert spans.longer([(0, 2), (3, 4.9), (5, 9)], 2.0) == [(0, 2), (5, 9)]


@pytest.mark.parametrize(
    ("a", "b", "common"),
    [((0, 5), (3, 9), 2), ((3, 9), (0, 5), 2), ((0, 9), (2, 3), 1), ((2, 3), (0, 9), 1),
     ((0, 1), (1, 2), 0), ((4, 6), (0, 1), 0)],
)  # fmt: skip
def test_overlap_by_hand(a: tuple[float, float], b: tuple[float, float], common: float) -> None:
    assert spans.overlap_s(a, b) == common


@pytest.mark.parametrize(
    ("given", "rest"),
    [
        ([(0, 2), (4, 6)], [(2, 4)]),
        ([(-1, 1), (5, 9)], [(1, 5)]),
        ([(1, 2), (2, 3)], [(0, 1), (3, 6)]),
        ([(7, 9)], [(0, 6)]),
        ([(-5, -1)], [(0, 6)]),
        ([(0, 6)], []),
        ([(6, 7)], [(0, 6)]),
        ([(1, 5), (2, 3)], [(0, 1), (5, 6)]),
    ],
)
def test_complement_by_hand(
    given: list[tuple[float, float]], rest: list[tuple[float, float]]
) -> None:
    assert spans.complement(given, 0, 6) == rest
