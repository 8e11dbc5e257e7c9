"""What the worst cases start from, on a hand-made flight and a simulated one."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import infer_path
from telemetry.circuit.margins import margins
from telemetry.circuit.measured import PeakSet, current_peaks, measured_in, pooled_peaks
from telemetry.measure.packs import pack_outs
from telemetry.measure.sharing import sharing_of
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import take_readings
from telemetry.results import Phase, PhaseKind, Resistance

PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0, end_s=50),
    Phase(kind=PhaseKind.REDUNDANCY_CHECK, start_s=50, end_s=60),
    Phase(kind=PhaseKind.STIR, start_s=60, end_s=80),
    Phase(kind=PhaseKind.GROUND, start_s=80, end_s=100),
    Phase(kind=PhaseKind.FLIGHT, start_s=100, end_s=500),
    Phase(kind=PhaseKind.GROUND, start_s=500, end_s=520),
)
BENCH = (*PHASES[:4], Phase(kind=PhaseKind.GROUND, start_s=100, end_s=520))


def _log(**more: np.ndarray) -> Log:
    """Ten readings a second; 1 A at rest, 5 A with bursts in flight; 8 V less 50 mOhm."""
    rng = np.random.default_rng(1)
    t = np.arange(5200) / 10
    amps = np.where((t >= 100) & (t < 500), 5.0, 1.0) + 0.02 * rng.normal(size=t.size)
    for k in range(60):
        at = 102 + 6.5 * k
        amps[(t >= at) & (t < at + 0.8)] += 2 + rng.exponential(1.5)
    amps[(t >= 60) & (t < 80)] += 3.0
    columns = {
        "bus/current": np.round(amps, 2),
        "bus/voltage": np.round(8.0 - 0.05 * amps, 2),
        "pack 1/voltage": np.round(8.1 - 0.03 * amps, 2),
        "tail/voltage": np.round(7.9 - 0.06 * amps, 2),
    } | {k.replace("__", "/").replace("_", " "): v for k, v in more.items()}
    channels = tuple(
        Channel(
            key=k,
            column=k,
            quantity=Quantity(k.split("/")[1].removesuffix(" min")),
            place=k.split("/")[0],
            hold="min" if k.endswith(" min") else "",
        )
        for k in columns
    )
    return Log(
        frame=pd.DataFrame(columns, index=pd.Index(t, name="time_s")),
        channels=channels,
        provenance=Provenance(file="invented.csv", sha256="", size_bytes=0, rows=t.size),
    )


def _measured(log: Log, phases: tuple[Phase, ...] = PHASES):
    craft = infer_path(log)
    readings = take_readings(log, craft.limits)
    outs = pack_outs(readings, craft, phases)
    return measured_in(phases, readings, craft, sharing_of(readings, craft, phases, outs))


def test_the_lowest_and_highest_under_load() -> None:
    log = _log()
    loaded = ((log.time_s >= 60) & (log.time_s < 80)) | ((log.time_s >= 100) & (log.time_s < 500))
    found = _measured(log)
    assert found.lowest_v["bus"] == log.values("bus/voltage")[loaded].min()
    assert found.peak_a["total"].value == log.values("bus/current")[loaded].max()
    assert found.peak_a["bus"] == found.peak_a["total"], "the bus reports the whole"


def test_a_dip_during_a_redundancy_check_is_no_dip_under_load() -> None:
    log = _log()
    at = (log.time_s >= 52) & (log.time_s < 58)
    log.frame.loc[at, "bus/voltage"] = 6.0
    assert _measured(log).lowest_v["bus"] > 7.0


def test_a_units_own_minimum_hold_counts_where_it_moved_in_flight() -> None:
    t = np.arange(5200) / 10
    early = np.where(t < 20, 7.9, 5.0)  # fell on the ground: says nothing of the flight
    assert _measured(_log(**{"bus__voltage min": early})).lowest_v["bus"] > 7.0
    held = np.where(t < 300, 7.9, 6.2)  # a dip between two readings of the plain column
    assert _measured(_log(**{"bus__voltage min": held})).lowest_v["bus"] == 6.2


def test_the_state_at_landing_is_the_mean_of_the_last_minute_of_flight() -> None:
    log = _log()
    last = (log.time_s >= 440) & (log.time_s < 500)
    found = _measured(log)
    for place in ("bus", "pack 1", "tail"):
        assert found.landing_v[place].value == pytest.approx(
            log.values(f"{place}/voltage")[last].mean(), abs=1e-3
        )
    amps = log.values("bus/current")[last]
    assert found.landing_a["total"].value == pytest.approx(amps.mean(), abs=1e-2)
    half = found.landing_a["total"].high - found.landing_a["total"].value
    assert half == pytest.approx(1.96 * amps.std() / np.sqrt(amps.size), rel=0.1)


def test_a_bench_recording_ends_with_its_last_stir() -> None:
    log = _log()
    found = _measured(log, BENCH)
    stir = (log.time_s >= 60) & (log.time_s < 80)
    assert found.landing_a["total"].value == pytest.approx(
        log.values("bus/current")[stir].mean(), abs=0.02
    )
    assert found.return_a == {}, "a stir is no flight to project from"
    nothing = _measured(log, (Phase(kind=PhaseKind.GROUND, start_s=0, end_s=520),))
    assert (nothing.lowest_v, nothing.landing_v, nothing.peak_a) == ({}, {}, {})


def test_slow_readings_leave_room_above_the_peak() -> None:
    fast = _log()
    slow = _log()
    slow = Log(frame=slow.frame.iloc[::10], channels=slow.channels, provenance=slow.provenance)
    quick, late = (_measured(log).peak_a["total"] for log in (fast, slow))
    assert quick.high == pytest.approx(quick.value, abs=0.2), "read every 0.1 s: all is seen"
    assert late.high > late.value + 0.5
    assert late.high > quick.value, "what was missed lies within what may have been missed"


def test_peaks_of_flights_are_pooled_above_the_highest_threshold() -> None:
    log = _log()
    craft = infer_path(log)
    readings = take_readings(log, craft.limits)
    one = current_peaks(PHASES, readings, craft)["total"]
    assert 45 <= one.value_a.size <= 60, "sixty bursts, the smallest below the highest tenth"
    assert one.value_a.min() > one.threshold_a > 5
    other = PeakSet(threshold_a=8.0, value_a=np.array([8.5, 9.0]), missed_a=0.5)
    both = pooled_peaks([one, other])
    assert both.threshold_a == 8.0
    assert both.flights == 2
    assert both.value_a.size == (one.value_a > 8).sum() + 2
    assert both.missed_a == max(one.missed_a, 0.5)
    assert current_peaks(BENCH, readings, craft) == {}
    with pytest.raises(ValueError, match="no peaks"):
        pooled_peaks([])


def test_the_return_level_of_enough_peaks() -> None:
    found = _measured(_log())
    level = found.return_a["total"]
    # Bursts are exponential, mean 1.5 A: the level of 100 flights of 60 bursts lies about
    # 5 + 2 + 1.5 ln(6000) = 20.0 A (mean of the exponential tail by hand).
    assert level.low <= 20.0 <= level.high
    assert level.value > found.peak_a["total"].value


def test_margins_of_a_flight_from_its_readings() -> None:
    log = _log()
    craft = infer_path(log)
    resistance = Resistance(
        kind="source", place="bus", mohm=50, low_mohm=48, high_mohm=52, updates=900
    )
    found = margins(craft, (resistance,), _measured(log))
    assert [m.place for m in found] == ["bus", "tail"]
    bus = found[0]
    assert bus.observed_v == pytest.approx(log.values("bus/voltage")[600:5000].min() - 3.5)
    lost, level, stalled = bus.cases
    assert lost.note == "there is no second pack to carry the load"
    assert level.voltage_v == pytest.approx(8.0 - 0.05 * level.current_a, abs=0.01)
    assert level.low_v < level.voltage_v < level.high_v
    assert stalled.note == "the profile lists no servos"
