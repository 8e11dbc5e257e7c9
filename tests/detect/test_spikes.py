"""Spikes against scipy's peak finder and an on/off trigger, with their blind spots stated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import find_peaks, peak_prominences

from telemetry.aircraft import Limits
from telemetry.detect.spikes import find_spikes, peak_prominence, spike_score
from telemetry.model.channels import Channel, Quantity
from telemetry.readings import Reading, Readings
from telemetry.results import Phase, PhaseKind

LIMITS = Limits()


def reading(t: np.ndarray, v: np.ndarray, place: str = "bus") -> Reading:
    channel = Channel(
        key=f"{place}/current", column="I", quantity=Quantity.CURRENT, place=place, unit="A"
    )
    return Reading(channel=channel, t=t, v=v, update_s=float(np.median(np.diff(t))), resolution=0.1)


def readings_of(*parts: Reading) -> Readings:
    return Readings(
        channels=parts,
        row_s=0.1,
        start_s=0.0,
        end_s=float(parts[0].t[-1]) + 0.1,
        gaps=(),
        dropouts=(),
        spurious=(),
        off=(),
    )


def phase(kind: PhaseKind, start: float, end: float) -> Phase:
    return Phase(kind=kind, start_s=start, end_s=end)


def spiky(seed: int = 0) -> tuple[np.ndarray, np.ndarray, list[int]]:
    rng = np.random.default_rng(seed)
    t = np.arange(0, 300, 0.2)
    v = 3.0 + np.round(0.15 * rng.standard_normal(t.size), 1)
    at = sorted(rng.choice(np.arange(50, t.size - 50, 25), 12, replace=False).tolist())
    for k in at:
        v[k : k + 3] += np.array([4.0, 6.0, 3.0])
    return t, v, at


def test_agrees_with_find_peaks_where_that_can_see() -> None:
    t, v, at = spiky()
    events = find_spikes(readings_of(reading(t, v)), (phase(PhaseKind.FLIGHT, 0, 301),), LIMITS)
    # scipy.signal.find_peaks with the same margin as height over the median and as prominence.
    peaks, found = find_peaks(v, height=3.0 + 1.0, prominence=1.0, distance=5)
    assert [e.peak_a for e in events] == pytest.approx(v[peaks].tolist())
    assert [e.prominence_a for e in events] == pytest.approx(found["prominences"].tolist())
    assert [e.start_s for e in events] == pytest.approx([t[k] for k in at])


@pytest.mark.parametrize("size", [3, 4, 60, 3000])
def test_prominences_are_those_of_scipy(size: int) -> None:
    x = np.round(np.random.default_rng(size).normal(size=size), 1)  # with peaks of one height
    x[1] = 1.0 + x[:3].max()
    peaks = [k for k in range(1, size - 1) if x[k] > max(x[k - 1], x[k + 1])]
    assert [peak_prominence(x, k, 0.0) for k in peaks] == list(peak_prominences(x, peaks)[0])


def test_agrees_with_the_on_off_trigger_of_obspy() -> None:
    # obspy.signal.trigger.trigger_onset (ObsPy 1.5.1): on at >= thres1, off below thres2.
    trigger = pytest.importorskip("obspy.signal.trigger")
    t, v, _ = spiky(1)
    r = reading(t, v)
    height, margin, _ = spike_score(r, LIMITS)
    ratio = height / margin
    pairs = trigger.trigger_onset(ratio, np.nextafter(1.0, 2), np.nextafter(0.5, 1))
    events = find_spikes(readings_of(r), (phase(PhaseKind.FLIGHT, 0, 301),), LIMITS)
    assert [(e.start_s, e.updates) for e in events] == [
        (pytest.approx(t[a]), b - a + 1) for a, b in pairs
    ]


def test_a_spike_at_the_end_is_found_where_find_peaks_is_blind() -> None:
    t, v, _ = spiky(2)
    v[-1] = 12.0  # find_peaks never takes the last sample for a peak (its documentation)
    assert t.size - 1 not in find_peaks(v, height=4.0)[0]
    events = find_spikes(readings_of(reading(t, v)), (phase(PhaseKind.FLIGHT, 0, 301),), LIMITS)
    assert events[-1].peak_a == 12.0


def test_exactly_at_the_margin_is_no_spike() -> None:
    t = np.arange(0, 60, 0.2)
    v = np.full(t.size, 2.0)
    v[100] = 3.0  # margin: 5 x 0.1 / sqrt(12) A is less than 1 A, so 1 A holds
    events = find_spikes(readings_of(reading(t, v)), (phase(PhaseKind.FLIGHT, 0, 61),), LIMITS)
    assert events == ()
    v[100] = 3.1
    events = find_spikes(readings_of(reading(t, v)), (phase(PhaseKind.FLIGHT, 0, 61),), LIMITS)
    assert len(events) == 1


@pytest.mark.parametrize(("step_a", "margin_a"), [(1.0, 1.4434), (2.0, 2.8868), (0.5, 1.0)])
def test_the_margin_has_a_floor_of_a_coarse_sensors_rounding(
    step_a: float, margin_a: float
) -> None:
    """Over half of the readings are equal, so the MAD is 0; rounding has the deviation of an even
    distribution one step wide, step / sqrt(12): five of it, and never less than 1 A."""
    rng = np.random.default_rng(3)
    assert np.std(rng.uniform(-0.5, 0.5, 200_000)) == pytest.approx(1 / 12**0.5, rel=0.003)
    t = np.arange(0, 60, 0.2)
    v = np.full(t.size, 6.0)
    v[::7] += step_a
    v[150] = 6.0 + 3 * step_a
    coarse = replace(reading(t, v), resolution=step_a)
    _, margin, _ = spike_score(coarse, LIMITS)
    assert margin == pytest.approx(np.full(t.size, margin_a), abs=1e-4)
    events = find_spikes(readings_of(coarse), (phase(PhaseKind.FLIGHT, 0, 61),), LIMITS)
    assert [e.peak_a for e in events] == [6.0 + 3 * step_a]


def test_charge_above_the_baseline_by_hand() -> None:
    t = np.arange(0, 60, 0.5)
    v = np.full(t.size, 2.0)
    v[40:42] = 6.0  # 4 A for 1 s: 4 A s = 4 / 3.6 mAh
    (event,) = find_spikes(readings_of(reading(t, v)), (phase(PhaseKind.FLIGHT, 0, 61),), LIMITS)
    assert event.charge_mah == pytest.approx(4.0 / 3.6)
    assert (event.start_s, event.end_s) == (20.0, 21.0)


def test_a_stir_is_judged_against_its_own_level() -> None:
    t = np.arange(0, 90, 0.2)
    rng = np.random.default_rng(4)
    v = np.where((t >= 30) & (t < 45), 5.0, 0.5) + 0.05 * rng.standard_normal(t.size)
    v[t == 36.0] = 11.0
    phases = (
        phase(PhaseKind.GROUND, 0, 30),
        phase(PhaseKind.STIR, 30, 45),
        phase(PhaseKind.GROUND, 45, 91),
    )
    events = find_spikes(readings_of(reading(t, v)), phases, LIMITS)
    assert [(e.phase, e.peak_a) for e in events] == [(PhaseKind.STIR, 11.0)]


def test_bursts_are_numbered_by_pauses_of_two_seconds() -> None:
    t = np.arange(0, 120, 0.2)
    v = np.full(t.size, 2.0)
    for at in (20.0, 21.4, 22.8, 40.0, 44.0):
        v[np.isclose(t, at)] = 9.0
    events = find_spikes(readings_of(reading(t, v)), (phase(PhaseKind.FLIGHT, 0, 121),), LIMITS)
    assert [e.burst for e in events] == [1, 1, 1, 2, 3]


def test_readings_are_not_altered() -> None:
    t, v, _ = spiky(3)
    t.flags.writeable = v.flags.writeable = False
    assert find_spikes(readings_of(reading(t, v)), (phase(PhaseKind.FLIGHT, 0, 301),), LIMITS)
