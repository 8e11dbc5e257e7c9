"""Masks and spans: one latch, one way from a mask to spans, one rule at gaps.

A sample holds from its instant until the next one, at most ``hold_s``. Spans are half open:
start <= t < end. Every mask is True where the condition is present.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def latch(arm: BoolArray, release: BoolArray) -> BoolArray:
    """True from a sample where ``arm`` holds until one where ``release`` holds (that one excluded).

    Where both hold in one sample, release wins.
    """
    state = np.where(release, 0, np.where(arm, 1, -1))
    decided = state >= 0
    last = np.maximum.accumulate(np.where(decided, np.arange(state.size), -1))
    return np.asarray((last >= 0) & (state[np.maximum(last, 0)] == 1), dtype=bool)


def runs(mask: BoolArray) -> list[tuple[int, int]]:
    """First and one-past-last index of each run of True."""
    edge = np.diff(np.r_[False, mask, False].astype(np.int8))
    first, last = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)
    return [(int(a), int(b)) for a, b in zip(first, last, strict=True)]


def mask_to_spans(t: FloatArray, mask: BoolArray, *, hold_s: float) -> list[tuple[float, float]]:
    """Spans in which the mask holds, cut where samples lie further apart than ``hold_s``.

    Parameters
    ----------
    t, mask : ndarray, shape (n,)
        Instants, s, in order, and the condition at them.
    hold_s : float
        How long the last sample before a gap, or the last of all, counts, s.

    Returns
    -------
    list of (float, float)
        From the first sample with the condition to the first one without it.
    """
    if t.size == 0:
        return []
    until = np.r_[np.minimum(np.diff(t), hold_s), hold_s] + t
    cut = np.r_[False, np.diff(t) > hold_s]
    out: list[tuple[float, float]] = []
    for a, b in runs(mask):
        for first, last in _pieces(a, b, cut):
            out.append((float(t[first]), float(until[last - 1])))
    return out


def _pieces(a: int, b: int, cut: BoolArray) -> list[tuple[int, int]]:
    inner = a + 1 + np.flatnonzero(cut[a + 1 : b])
    edges = [a, *(int(i) for i in inner), b]
    return list(pairwise(edges))


def merge(spans: list[tuple[float, float]], pause_s: float) -> list[tuple[float, float]]:
    """Join spans whose pause is shorter than ``pause_s``; spans in time order."""
    out: list[tuple[float, float]] = []
    for start, end in spans:
        if out and start - out[-1][1] < pause_s:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return out


def longer(spans: list[tuple[float, float]], least_s: float) -> list[tuple[float, float]]:
    """Spans of at least ``least_s``."""
    return [s for s in spans if s[1] - s[0] >= least_s]


def overlap_s(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Length of the common part of two spans, s."""
    return max(0.0, min(a[1], b[1]) - max(a[0], b[0]))


def common(
    some: list[tuple[float, float]], others: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """What spans of one list have in common with those of another, s."""
    both = [(max(a, c), min(b, d)) for a, b in some for c, d in others]
    return sorted((a, b) for a, b in both if b > a)


def complement(
    spans: list[tuple[float, float]], start_s: float, end_s: float
) -> list[tuple[float, float]]:
    """What remains of [start_s, end_s) outside the spans (in the order of their starts)."""
    out = []
    at = start_s
    for a, b in spans:
        if a > at:
            out.append((at, min(a, end_s)))
        at = max(at, b)
    if at < end_s:
        out.append((at, end_s))
    return [s for s in out if s[1] > s[0]]
