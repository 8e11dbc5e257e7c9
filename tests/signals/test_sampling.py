"""Update instants, resolution, gaps; the chance to see a dip by Monte Carlo."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.signals import sampling


def held(
    rng: np.random.Generator,
    *,
    interval: float,
    row: float,
    length: float = 300.0,
    step: float = 0.01,
    spread: float = 1.0,
    jitter: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """A noisy signal read every ``interval`` (own clock) and written every ``row``, held."""
    t = np.arange(0, length, row)
    at = np.arange(0.37 * interval, length, interval)
    at = np.sort(at + rng.normal(0, jitter * interval, at.size))
    value = np.round((5 + spread * rng.standard_normal(at.size)) / step) * step
    i = np.searchsorted(at, t, side="right") - 1
    return t, np.where(i >= 0, value[np.maximum(i, 0)], np.nan)


@pytest.mark.parametrize("row", [0.02, 0.1, 0.2])
@pytest.mark.parametrize("interval", [0.2, 0.25, 0.33, 0.5, 1.0, 1.7])
@pytest.mark.parametrize("step", [0.01, 1.0])
def test_interval_is_found_whatever_the_rows(row: float, interval: float, step: float) -> None:
    rng = np.random.default_rng(1)
    t, v = held(rng, interval=interval, row=row, step=step)
    found = sampling.update_interval(t, v)
    assert found == pytest.approx(max(interval, row), rel=0.15)


def test_interval_with_jitter() -> None:
    t, v = held(np.random.default_rng(2), interval=0.4, row=0.1, jitter=0.1)
    assert sampling.update_interval(t, v) == pytest.approx(0.4, rel=0.2)


def test_interval_from_blanks() -> None:
    t = np.arange(0, 60, 0.1)
    v = np.full(t.size, np.nan)
    v[::5] = 7.4  # never changes, reported every 0.5 s
    assert sampling.is_sparse(v)
    assert sampling.update_interval(t, v) == pytest.approx(0.5)
    assert sampling.update_samples(t, v).t.size == 120


def test_no_interval_where_nothing_changes() -> None:
    t = np.arange(0, 60, 0.1)
    assert sampling.update_interval(t, np.full(t.size, 6.0)) is None


def test_an_unchanged_value_is_news_at_each_update() -> None:
    t = np.arange(0, 10, 0.1)
    v = np.repeat([1.0, 2.0, 2.0, 3.0, 3.0, 3.0, 4.0, 5.0, 6.0, 7.0], 10)
    u = sampling.update_samples(t, v, 1.0)
    np.testing.assert_allclose(u.t, np.arange(10.0), atol=1e-9)
    np.testing.assert_allclose(u.v, [1, 2, 2, 3, 3, 3, 4, 5, 6, 7])


def test_nothing_is_put_into_a_gap() -> None:
    t = np.r_[np.arange(0, 5, 0.1), np.arange(25, 30, 0.1)]
    v = np.full(t.size, 3.0)
    u = sampling.update_samples(t, v, 0.5)
    assert not ((u.t > 5.0) & (u.t < 25.0)).any()


def test_a_late_row_is_news_also_where_nothing_changed() -> None:
    # A row a minute while 6 A flow, then off: the last row before the switch must not be lost.
    t = np.r_[np.arange(0, 20, 1.0), 80, 140, 200, 221, 222, 223, 224]
    v = np.r_[np.tile([5.9, 6.1], 10), 6, 6, 6, 6, 0, 0, 0]
    got = sampling.update_samples(t, v)
    assert {80, 140, 200, 221, 222} <= set(got.t.tolist())
    rows = np.arange(0, 20, 0.1)
    held_v = np.floor(rows)  # an update a second, held in between: no more samples than before
    assert sampling.update_samples(rows, held_v, 1.0).t.size == 20


def test_resolution() -> None:
    assert sampling.resolution(np.array([7.1, 7.2, 7.4, np.nan, 7.1])) == pytest.approx(0.1)
    assert sampling.resolution(np.array([7.1, 7.1])) is None
    # Single precision exports: 7.1 and 7.1000004 are one value.
    assert sampling.resolution(np.array([7.1, 7.1000004, 7.2])) == pytest.approx(0.1, rel=1e-5)


def test_gaps_need_both_three_intervals_and_a_second() -> None:
    t = np.array([0, 0.1, 0.2, 0.9, 1.0, 2.5, 2.6])
    assert sampling.gap_spans(t, 0.1, intervals=3, least_s=1.0) == [(1.0, 2.5)]
    assert sampling.gap_spans(t, 1.0, intervals=3, least_s=1.0) == []


def test_a_slower_pace_is_no_row_of_gaps() -> None:
    # A logger that writes every second, then every minute; the change-over cuts one step short.
    t = np.cumsum(np.r_[0, np.ones(50), [24.4], np.full(10, 60.0), [33.0], np.ones(50)])
    assert sampling.gap_spans(t, 1.0, intervals=3, least_s=1.0) == []
    # In the slow stretch a gap is one that is long for that pace.
    longer = t.copy()
    longer[55:] += 200.0
    assert sampling.gap_spans(longer, 1.0, intervals=3, least_s=1.0) == [
        (longer[54], longer[54] + 260.0)
    ]


def test_a_bad_link_has_no_pace() -> None:
    steps = np.r_[np.full(50, 0.1), [5.0], [0.1], [5.1], [7.9], [3.2], [6.5], np.full(50, 0.1)]
    t = np.cumsum(np.r_[0, steps])
    spans = sampling.gap_spans(t, 0.1, intervals=3, least_s=1.0)
    assert [b - a for a, b in spans] == pytest.approx([5.0, 5.1, 7.9, 3.2, 6.5])
    two = np.cumsum(np.r_[0, np.full(20, 0.1), [5.0, 5.0], np.full(20, 0.1)])
    assert len(sampling.gap_spans(two, 0.1, intervals=3, least_s=1.0)) == 2


def test_quiet_channel_takes_the_interval_of_its_frame() -> None:
    rows = 1000
    lively = np.arange(0, rows, 5)
    quiet = lively[::9]
    assert sampling.shared_interval(4.5, quiet, lively, 0.5, rows) == 0.5
    elsewhere = quiet + 2
    assert sampling.shared_interval(4.5, elsewhere, lively, 0.5, rows) == 4.5
    every_row = np.arange(rows)
    assert sampling.shared_interval(4.5, quiet, every_row, 0.1, rows) == 4.5


def test_held_value_ages() -> None:
    t, v = np.array([0.0, 1.0]), np.array([5.0, 6.0])
    got = sampling.held_at(t, v, np.array([-1.0, 0.5, 1.0, 2.0, 9.0]), 3.0)
    np.testing.assert_allclose(got, [np.nan, 5.0, 6.0, 6.0, np.nan])


@pytest.mark.parametrize(("dip", "interval"), [(0.05, 0.2), (0.1, 0.25), (0.4, 0.5), (0.6, 0.5)])
def test_chance_to_see_a_dip_by_monte_carlo(dip: float, interval: float) -> None:
    # P = min(1, d / T) for a uniform phase, from first principles.
    rng = np.random.default_rng(5)
    phase = rng.uniform(0, interval, 200_000)  # first sample after the dip's start
    seen = (phase < dip).mean()
    assert sampling.chance_seen(dip, interval) == pytest.approx(seen, abs=0.005)


def test_chance_with_uneven_gaps() -> None:
    # Sum of min(d, gap) over the sum of gaps, worked by hand: 1.05 / 1.95.
    gaps = np.array([0.1, 0.1, 0.5, 0.2, 1.0, 0.05])
    assert sampling.chance_seen_jittered(0.3, gaps) == pytest.approx(1.05 / 1.95)
    rng = np.random.default_rng(6)
    edges = np.r_[0, np.cumsum(gaps)]
    start = rng.uniform(0, edges[-1], 200_000)
    following = edges[np.minimum(np.searchsorted(edges, start), gaps.size)]
    assert (following - start < 0.3).mean() == pytest.approx(0.5385, abs=0.004)
