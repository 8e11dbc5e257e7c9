"""Spikes of a few readings each: margins, ends, charge, prominence and bursts by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Limits
from telemetry.detect.spikes import find_spikes, number_bursts, peak_prominence, spike_score
from telemetry.model.channels import Quantity
from telemetry.results import Event, EventKind, Evidence, Origin, Phase, PhaseKind

LIMITS = Limits()
T = 0.25 * np.arange(120)  # one window of 30 s
FLIGHT = (Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=30.0),)


@pytest.fixture
def spikes(make_reading, make_readings):
    def find(at: dict[int, float], *, t=T, phases=FLIGHT, limits=LIMITS, base=2.0, **more):
        v = np.full(t.size, base)
        for k, x in at.items():
            v[k] = x
        row = make_reading("bus", Quantity.CURRENT, t, v, **more)
        return find_spikes(make_readings(row, end_s=30.0), phases, limits)

    return find


def test_one_spike(spikes) -> None:
    """4 and 3 A above 2 A for 0.25 s each: 1.75 As are 1.75 / 3.6 mAh."""
    (spike,) = spikes({40: 6.0, 41: 5.0})
    assert (spike.kind, spike.place, spike.phase) == (EventKind.SPIKE, "bus", PhaseKind.FLIGHT)
    assert (spike.start_s, spike.end_s, spike.updates, spike.burst) == (10.0, 10.5, 2, 1)
    assert (spike.peak_a, spike.prominence_a, spike.truncated) == (6.0, 4.0, False)
    assert spike.charge_mah == pytest.approx(1.75 / 3.6)
    assert (spike.origin, spike.evidence) == (Origin.LOAD, Evidence.UNKNOWN)
    assert "4 A above a baseline of 2 A" in spike.note


@pytest.mark.parametrize(("peak", "found"), [(3.0, False), (3.01, True)])
def test_a_spike_is_over_one_ampere(peak: float, found: bool, spikes) -> None:
    assert bool(spikes({40: peak})) is found


@pytest.mark.parametrize(
    ("resolution", "margin"), [(1.2, 5 * 1.2 / 12**0.5), (0.1, 1.0), (None, 1.0)]
)
def test_the_margin_is_five_deviations_that_rounding_makes(resolution, margin, make_reading):
    row = make_reading("bus", Quantity.CURRENT, T, 2.0, resolution=resolution)
    height, found, baseline = spike_score(row, LIMITS)
    assert found == pytest.approx(np.full(T.size, margin))
    assert (height.max(), baseline.max()) == (0.0, 2.0)


def test_the_margin_is_five_scaled_mad(make_reading) -> None:
    """Half of the readings 0.5 A above and half below: the MAD is 0.5 A, 0.741 A scaled.

    Not near the ends, where a window may hold one more of the one half.
    """
    row = make_reading("bus", Quantity.CURRENT, T, 2.0 + np.where(np.arange(120) % 2, 0.5, -0.5))
    margin = spike_score(row, LIMITS)[1]
    assert margin[40:80] == pytest.approx(np.full(40, 5 * 0.741301), rel=1e-4)


@pytest.mark.parametrize(("after", "updates"), [(2.5, 1), (2.51, 2)])
def test_a_spike_ends_at_half_its_margin(after: float, updates: int, spikes) -> None:
    assert spikes({40: 6.0, 41: after})[0].updates == updates


@pytest.mark.parametrize(("size", "found"), [(5, 1), (4, 0)])
def test_five_readings_of_a_phase_are_needed(size: int, found: int, spikes) -> None:
    phases = (Phase(kind=PhaseKind.STIR, start_s=0.0, end_s=0.25 * size),)
    assert len(spikes({1: 6.0}, phases=phases)) == found


@pytest.mark.parametrize(
    ("last", "end_s", "update_s", "phase_s", "truncated"),
    [
        (119, 30.0, 0.25, 30.0, False),
        (119, 30.75, 1.0, 33.0, True),
        (119, 29.75, None, 30.75, False),
        (119, 29.75, None, 31.0, True),
        (118, 29.75, 0.25, 40.0, False),
    ],
    ids=[
        "its own interval",
        "a long one",
        "unknown: up to 1 s",
        "and longer",
        "one before the end",
    ],
)
def test_a_spike_at_the_end(last, end_s, update_s, phase_s, truncated, spikes) -> None:
    """The last reading is at 29.75 s; cut where its phase lasts over 1 s or 3 intervals more."""
    phases = (Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=phase_s),)
    (spike,) = spikes({last: 6.0}, phases=phases, update_s=update_s)
    assert (spike.end_s, spike.truncated) == (end_s, truncated)
    assert spike.prominence_a == 4.0


def test_a_spike_before_a_gap_counts_for_one_second(spikes) -> None:
    """4 A for 1 s of the 5 s until the next reading."""
    t = np.r_[T[:41], T[41:] + 4.75]
    (spike,) = spikes({40: 6.0}, t=t, phases=(Phase(kind=PhaseKind.FLIGHT, start_s=0, end_s=40),))
    assert (spike.start_s, spike.end_s) == (10.0, 11.0)
    assert spike.charge_mah == pytest.approx(4.0 / 3.6)


def test_the_highest_reading_is_the_peak(spikes) -> None:
    (spike,) = spikes({40: 5.0, 41: 7.0, 42: 6.0})
    assert (spike.peak_a, spike.prominence_a, spike.start_s) == (7.0, 5.0, 10.0)


@pytest.mark.parametrize(
    ("v", "k", "prominence"),
    [
        ([1, 5, 3, 4, 1], 1, 4.0),
        ([1, 5, 3, 4, 1], 3, 1.0),
        ([5, 1, 1], 0, 9.0),
        ([1, 1, 5], 2, 9.0),
        ([1, 5, 5, 1], 1, 9.0),
        ([1, 5, 5, 1], 2, 9.0),
        ([2, 5, 1], 1, 3.0),
    ],
    ids=["highest", "beside it", "first", "last", "flat", "flat", "the higher foot"],
)
def test_prominence_or_else_the_height(v, k, prominence) -> None:
    assert peak_prominence(np.array(v, float), k, 9.0) == prominence


def event(start: float, end: float) -> Event:
    return Event(kind=EventKind.SPIKE, place="bus", start_s=start, end_s=end)


def test_spikes_closer_than_2_s_are_one_burst() -> None:
    """From the end of one to the start of the next."""
    row = [event(10.0, 11.0), event(12.9, 13.0), event(15.0, 15.5), event(1.0, 2.0)]
    assert [(e.start_s, e.burst) for e in number_bursts(row, 2.0)] == [
        (1.0, 1), (10.0, 2), (12.9, 2), (15.0, 3),
    ]  # fmt: skip


def test_each_phase_and_place_by_itself(make_reading, make_readings) -> None:
    phases = (
        Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=15.0),
        Phase(kind=PhaseKind.STIR, start_s=15.0, end_s=30.0),
    )
    v = np.where(T < 15, 1.0, 6.0)
    v[20], v[100] = 4.0, 9.0
    rows = [make_reading(p, Quantity.CURRENT, T, v) for p in ("tail", "bus")]
    found = find_spikes(make_readings(*rows, end_s=30.0), phases, LIMITS)
    assert [(e.start_s, e.place, e.phase, e.burst) for e in found] == [
        (5.0, "bus", PhaseKind.GROUND, 1), (5.0, "tail", PhaseKind.GROUND, 1),
        (25.0, "bus", PhaseKind.STIR, 2), (25.0, "tail", PhaseKind.STIR, 2),
    ]  # fmt: skip


@pytest.mark.parametrize(("kind", "told"), [(PhaseKind.FLIGHT, True), (PhaseKind.GROUND, False)])
def test_the_highest_current_of_a_restless_flight_is_a_spike(
    kind: PhaseKind, told: bool, make_reading, make_readings
) -> None:
    """A swing of 2 A has a median deviation of 1.41 A; no peak reaches five scaled ones, 10.5 A."""
    t = 0.25 * np.arange(400)
    v = 4.0 + 2.0 * np.sin(2 * np.pi * t / 7.0)
    v[200] = 9.0
    readings = make_readings(make_reading("bus", Quantity.CURRENT, t, v), end_s=100.0)
    phase = Phase(kind=kind, start_s=0.0, end_s=100.0)
    found = find_spikes(readings, (phase,), Limits())
    assert [e.peak_a for e in found] == ([9.0] if told else [])
