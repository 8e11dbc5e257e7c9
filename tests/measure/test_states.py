"""Charge and share of each pack in a flight, on readings made by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft
from telemetry.app.pipeline import review
from telemetry.measure.states import Drawn
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.numerics.intervals import Interval
from telemetry.results import PackState

# Five minutes of 6 A between two of 0.2 A, from two packs alike: 250 + 6.7 mAh each.
T = np.arange(0, 540, 0.25)
NOISE = np.random.default_rng(7).normal(0, 0.02, T.size)  # what never changes counts as frozen
TOTAL = np.where((T >= 120) & (T < 420), 6.0 + np.sin(T), 0.2) + NOISE
EACH_MAH = float(np.sum(TOTAL) * 0.25 / 3.6 / 2)


def log(rest_v: float = 8.36, factor: float = 1.0, first_mah: float = 0.0) -> Log:
    """``factor``: what the counters make of the current; ``first_mah``: what they begin with."""
    columns: dict[str, np.ndarray] = {}
    for pack in ("pack 1", "pack 2"):
        columns[f"{pack}/voltage"] = np.round(rest_v - 0.03 * TOTAL / 2, 2)
        columns[f"{pack}/current"] = np.round(TOTAL / 2, 2)
        used = np.cumsum(TOTAL / 2) * 0.25 / 3.6
        columns[f"{pack}/consumed"] = np.floor(first_mah + factor * used)
    columns["bus/voltage"] = np.round(rest_v - 0.1 - 0.02 * TOTAL, 2)
    channels = tuple(
        Channel(key=k, column=k, quantity=Quantity(k.split("/")[1]), place=k.split("/")[0])
        for k in columns
    )
    return Log(
        frame=pd.DataFrame(columns, index=pd.Index(T, name="time_s")),
        channels=channels,
        provenance=Provenance(file="invented.csv", sha256="", size_bytes=0, rows=T.size),
    )


def craft(**pack: object) -> Aircraft:
    return Aircraft.model_validate(
        {"bus": "bus", "packs": [{"name": f"pack {n}", **pack} for n in (1, 2)]}
    )


def states(made: Log, aircraft: Aircraft, drawn: Drawn | None = None) -> tuple[PackState, ...]:
    (flight,) = review(made, aircraft, drawn).flights
    assert flight.kind == "flight"
    return flight.packs


def test_share_and_rest() -> None:
    one, two = states(log(), craft())
    assert one.share == pytest.approx(0.5, abs=0.01)
    assert two.low_share < 0.5 < two.high_share
    assert one.change_share == pytest.approx(0.5, abs=0.02)
    assert (one.off_balance, two.off_balance) == (False, False)
    assert one.rest_v == pytest.approx(8.36, abs=0.01)
    assert one.loaded_v == pytest.approx(8.36 - 0.09, abs=0.02)
    assert (one.basis, one.start_pct, one.flights_left) == ("", None, None), "no capacity"


def test_without_records_a_flat_chemistry_counts_as_full() -> None:
    one, _ = states(log(6.64), craft(chemistry="life", cells=2, capacity_mah=2000))
    assert (one.basis, one.start_pct) == ("full", 100.0)
    assert one.landing_pct == pytest.approx(100 - 100 * EACH_MAH / 2000, abs=0.3)
    # 30 % of 2000 stay: 1400 for flights of 257 are five, four after this one.
    assert one.flights_left == 4


def test_a_rest_voltage_tells_where_it_can() -> None:
    one, _ = states(log(7.70), craft(chemistry="lipo", cells=2, capacity_mah=2000))
    assert one.basis == "rest voltage"
    assert one.low_start_pct < one.start_pct < one.high_start_pct < 100
    assert one.start_pct - one.landing_pct == pytest.approx(100 * EACH_MAH / 2000, abs=0.3)
    full, _ = states(log(8.38), craft(chemistry="lipo", cells=2, capacity_mah=2000))
    assert one.flights_left < full.flights_left, "what is left follows from that charge"


def test_records_go_before_voltages() -> None:
    drawn = Drawn(
        since_full_mah={"pack 1": Interval(500, 480, 520)},
        flights_mah={"pack 1": (240.0, 260.0)},
        on_record=True,
    )
    aircraft = craft(chemistry="lipo", cells=2, capacity_mah=2000)
    one, two = states(log(8.36), aircraft, drawn)
    assert (one.basis, one.start_pct) == ("records", 75.0)
    assert one.landing_pct == pytest.approx(75 - 100 * EACH_MAH / 2000, abs=0.3)
    # 2000 - 500 - 257 - 600 leave 643 for flights of 252.
    assert one.flights_left == 2
    assert two.basis == "rest voltage", "nothing of it is on record"
    flat = states(log(6.64), craft(chemistry="life", cells=2, capacity_mah=2000), drawn)[1]
    assert (flat.basis, flat.start_pct, flat.flights_left) == ("", None, None)


def test_counter_and_integral_apart_count_the_larger() -> None:
    alike, _ = states(log(), craft())
    assert alike.drawn_mah == pytest.approx(EACH_MAH, rel=0.01)
    apart, _ = states(log(factor=1.3), craft())
    assert apart.drawn_mah == pytest.approx(1.3 * EACH_MAH, rel=0.01)
    assert apart.low_drawn_mah < EACH_MAH < apart.drawn_mah < apart.high_drawn_mah


def test_what_a_counter_began_with_is_kept() -> None:
    one, _ = states(log(first_mah=830), craft())
    assert one.counter_start_mah == pytest.approx(830, abs=1)
    assert one.drawn_mah == pytest.approx(EACH_MAH, rel=0.01), "that is not of this flight"


def test_one_flight_counts_for_the_next() -> None:
    first = states(log(6.64), craft(chemistry="life", cells=2, capacity_mah=2000))
    after = Drawn().then(first)
    assert not after.on_record
    assert after.since_full_mah["pack 1"].value == pytest.approx(EACH_MAH, rel=0.01)
    assert after.flights_mah["pack 2"] == (first[1].drawn_mah,)
    twice = after.then(first)
    sure = twice.since_full_mah["pack 1"]
    assert sure.value == pytest.approx(2 * EACH_MAH, rel=0.01)
    assert sure.high - sure.value < 2 * (first[0].high_drawn_mah - first[0].drawn_mah)
