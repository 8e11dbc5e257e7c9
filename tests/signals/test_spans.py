"""Masks and spans, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.signals import spans


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
