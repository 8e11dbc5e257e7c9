"""Charge in the packs: records, rest voltages, flights left, counters, guesses."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.power.charge_state import (
    ChargeState,
    Entry,
    charge_from_rest,
    charge_state,
    counter_mismatch,
    drawn_since_full,
    flights_left,
    guess_pack,
)
from telemetry.power.intervals import Interval

exact = Interval.exact


def _drawn(mah: float, pm: float = 0.0) -> Entry:
    return Entry(kind="drawn", mah=Interval.around(mah, pm))


FULL = Entry(kind="charged", mah=None)


def test_charge_drawn_since_full_adds_up() -> None:
    record = [_drawn(900), FULL, _drawn(500, 3), _drawn(700, 4)]
    found = drawn_since_full(record)
    assert found == Interval(1200, 1195, 1205), "uncertainties add in squares: 3, 4 -> 5"


def test_a_charge_by_amount_counts_with_its_yield() -> None:
    record = [FULL, _drawn(1000), Entry(kind="charged", mah=exact(400))]
    assert drawn_since_full(record, "lipo").value == pytest.approx(1000 - 0.99 * 400)
    assert drawn_since_full(record, "nimh").value == pytest.approx(1000 - 0.85 * 400)
    more = [*record, Entry(kind="charged", mah=exact(5000))]
    assert drawn_since_full(more).value == 0, "a pack is never fuller than full"


def test_without_a_full_charge_on_record_nothing_is_known() -> None:
    assert drawn_since_full([]) is None
    assert drawn_since_full([_drawn(500), Entry(kind="charged", mah=exact(500))]) is None
    assert drawn_since_full([FULL, Entry(kind="drawn", mah=None)]) is None
    assert drawn_since_full([FULL]) == exact(0)


def test_charge_from_records() -> None:
    found = charge_state(
        capacity_mah=4000,
        before_mah=Interval(1000, 960, 1080),
        drawn_mah=Interval(800, 770, 860),
        chemistry="life",
    )
    assert found.basis == "records"
    assert found.start_pct == Interval(75, 73, 76)
    # 55 %; down: hypot(2, 1.5), up: hypot(1, 0.75).
    assert found.landing_pct.value == pytest.approx(55)
    assert found.landing_pct.low == pytest.approx(55 - 2.5)
    assert found.landing_pct.high == pytest.approx(55 + 1.25)


def test_a_flat_chemistry_is_never_read_from_its_voltage() -> None:
    for chemistry, volts in (("life", 3.30), ("nimh", 1.28), (None, 3.8)):
        assert charge_from_rest(chemistry, volts) is None
        found = charge_state(
            capacity_mah=4000,
            before_mah=None,
            drawn_mah=exact(800),
            chemistry=chemistry,
            rest_cell_v=volts,
        )
        assert found == ChargeState(start_pct=None, landing_pct=None, basis="")


def test_records_come_before_a_voltage() -> None:
    found = charge_state(
        capacity_mah=4000, before_mah=exact(1000), drawn_mah=None, chemistry="lipo", rest_cell_v=4.2
    )
    assert (found.start_pct, found.landing_pct, found.basis) == (exact(75), None, "records")
    by_voltage = charge_state(
        capacity_mah=4000, before_mah=None, drawn_mah=exact(400), chemistry="lipo", rest_cell_v=4.2
    )
    assert by_voltage.basis == "rest voltage"
    assert by_voltage.landing_pct.value == pytest.approx(90)
    nothing = charge_state(capacity_mah=None, before_mah=exact(0), drawn_mah=exact(0))
    assert nothing.basis == ""


@pytest.mark.parametrize("file", ["10C", "25C-2", "40C-1"])
def test_a_measured_cell_lies_within_what_its_rest_voltage_tells(file: str) -> None:
    """Rest voltages after each tenth of a discharge of a laboratory cell (Wiggins, Allu, Wang,
    Oak Ridge National Laboratory, doi 10.5281/zenodo.2580327), at 10, 25 and 40 degC. Its 25 degC
    run is one of the curves the interval spans; the other two runs are not.
    """
    folder = os.environ.get("BUSBOOK_OPEN_DATA")
    if not folder:
        pytest.skip("BUSBOOK_OPEN_DATA names no folder with the open data")
    path = Path(folder) / "leaf_cell" / f"NissanLeaf-cell-Low-Current-HPPC-{file}.csv"
    skip = int(path.read_text(encoding="utf-8").startswith("Exclude"))  # one has no header
    data = pd.read_csv(path, header=None, skiprows=skip, index_col=False)
    t, a, v = (data[c].to_numpy(float) for c in (1, 8, 9))
    charge_ah = np.r_[0.0, np.cumsum(np.diff(t) * (a[1:] + a[:-1]) / 2)] / 3600
    rest = np.abs(a) < 0.05
    edge = np.flatnonzero(np.diff(np.r_[False, rest, False].astype(int)))
    ends = [(s, e - 1) for s, e in zip(edge[::2], edge[1::2], strict=True)]
    points = [(charge_ah[e], v[e]) for s, e in ends if t[e] - t[s] > 1200]
    full = max(q for q, _ in points)
    assert len(points) >= 9
    for q, volts in points:
        pct = max(100 - 100 * (full - q) / 30.3, 0.0)  # 30.3 Ah is what a 1 C discharge gave
        found = charge_from_rest("liion", float(volts))
        assert found.low - 1 <= pct <= found.high + 1, f"{volts:.3f} V at {pct:.0f} %"


@given(st.sampled_from(["lipo", "liion"]), st.floats(2.5, 4.4), st.floats(0, 0.5))
def test_more_voltage_is_never_less_charge(chemistry: str, volts: float, more: float) -> None:
    low, high = charge_from_rest(chemistry, volts), charge_from_rest(chemistry, volts + more)
    assert low.low <= high.low
    assert low.value <= high.value
    assert low.high <= high.high
    assert 0 <= low.low <= low.value <= low.high <= 100


def test_flights_that_fit_by_hand() -> None:
    # 4000 mAh, 30 % stay in: 2800 to use, 600 used, 500 a flight: 2200 / 500 = 4.4.
    found = flights_left(
        capacity_mah=4000, drawn_mah=exact(600), flights_mah=[480, 500, 520], reserve_pct=30
    )
    assert (found.usual, found.left_mah, found.reserve_mah) == (4, 3400, 1200)
    # Four flights: 2000 + 2.920 * 20 * sqrt(4 + 16/3) = 2178 (t of 2 degrees of freedom), fits.
    assert found.cautious == 4
    wide = flights_left(
        capacity_mah=4000, drawn_mah=exact(600), flights_mah=[400, 500, 600], reserve_pct=30
    )
    # 2892 for four; 1500 + 292 * sqrt(3 + 3) = 2215 for three: just too much; two: 1000 + 533.
    assert (wide.usual, wide.cautious) == (4, 2)


def test_few_flights_are_counted_cautiously() -> None:
    found = flights_left(capacity_mah=3000, drawn_mah=exact(0), flights_mah=[500], reserve_pct=30)
    assert (found.usual, found.cautious) == (4, 3)  # 2100 / 625 = 3.4
    assert (
        flights_left(capacity_mah=3000, drawn_mah=exact(0), flights_mah=[], reserve_pct=30) is None
    )


def test_an_empty_pack_has_no_flight_left() -> None:
    found = flights_left(
        capacity_mah=3000, drawn_mah=exact(2500), flights_mah=[500, 500, 500], reserve_pct=30
    )
    assert (found.usual, found.cautious) == (0, 0)


def test_the_cautious_number_holds_nineteen_times_in_twenty() -> None:
    """So many flights, drawn anew, stay within what was left: the bound is one-sided 95 %."""
    rng = np.random.default_rng(4)
    held = total = 0
    for _ in range(2000):
        before = rng.normal(500, 60, size=6)
        found = flights_left(
            capacity_mah=4000, drawn_mah=exact(0), flights_mah=before, reserve_pct=30
        )
        taken = rng.normal(500, 60, size=found.cautious).sum()
        held += taken <= 2800
        total += 1
    assert held / total >= 0.95


@pytest.mark.parametrize(
    ("logged", "integrated", "uncertain", "differs"),
    [
        (1000, 1000, None, False),
        (1040, 1000, None, False),
        (1100, 1000, None, True),
        (880, 1000, None, True),
        (1100, 1000, 60, False),
        (0, 1000, 25, True),
        (1000, 100, 49, True),
    ],
)
def test_counter_against_integral(
    logged: float, integrated: float, uncertain: float | None, differs: bool
) -> None:
    found = counter_mismatch(logged, integrated, uncertain)
    assert found.differs is differs
    assert found.ratio.value == logged / integrated


def test_hardly_any_charge_is_not_compared() -> None:
    assert counter_mismatch(30, 10) is None


def test_a_guess_says_what_it_cannot_tell() -> None:
    two = guess_pack(8.25)
    assert ("lipo", 2) in two.candidates
    assert ("liion", 2) in two.candidates
    assert two.chemistry is None
    # Nickel cells fit as well: six of them at 1.375 V.
    assert ("nimh", 6) in two.candidates
    assert two.cells is None


def test_a_guess_can_be_sure_of_the_cells_alone() -> None:
    found = guess_pack(4.15)
    assert set(found.candidates) == {("lipo", 1), ("liion", 1)}
    assert (found.chemistry, found.cells) == (None, 1)


def test_a_guess_can_be_sure() -> None:
    found = guess_pack(3.2)
    assert found.candidates == (("life", 1),)
    assert (found.chemistry, found.cells) == ("life", 1)


def test_a_later_rest_voltage_narrows_the_guess() -> None:
    """6.66 V before and 6.55 V after: two iron cells, or five nickel cells; no lithium pair."""
    assert set(guess_pack(6.66, 6.55).candidates) == {("life", 2), ("nimh", 5)}
    assert ("liion", 2) in guess_pack(6.66).candidates


def test_no_pack_has_such_a_voltage() -> None:
    assert guess_pack(0.4) == guess_pack(60.0)
    assert guess_pack(0.4).candidates == ()
    assert guess_pack(0.4).chemistry is None
