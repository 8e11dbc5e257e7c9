"""Packs that fade across flights: their capacity, and resistance where no date tells winter."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.checks.across import judge
from telemetry.results import Finding, Level
from telemetry.trends.measures import Measure, Measures
from tests.measured_data import AGEING, needs_data

CRAFT = Aircraft(name="Tern (invented)", bus="bus", packs=(Pack(name="pack 1"),))


def book(
    mah: Sequence[float],
    used: Sequence[float] | None = None,
    celsius: Sequence[float] | None = None,
    days: Sequence[int] | None = None,
    packs: Sequence[str] | None = None,
) -> list[Measures]:
    """Flights that told these capacities of one pack; temperature and date where they are given."""

    def row(feature: str, value: float) -> Measure:
        return Measure(
            place="pack 1", feature=feature, value=value, unit="mAh", low=0.8 * value, high=value
        )

    used = [1200.0] * len(mah) if used is None else used
    return [
        Measures(
            kind="flight",
            start=None if days is None else f"{date(2024, 4, 1) + timedelta(days[k])}T12:00:00",
            file=f"flight {k + 1}",
            duration_s=500.0,
            flight_s=400.0,
            update_s=0.2,
            temperature_c=None if celsius is None else celsius[k],
            features=(row("capacity_mah", x), row("used_mah", used[k])),
            packs=None if packs is None else packs[k],
        )
        for k, x in enumerate(mah)
    ]


def found(flights: list[Measures]) -> list[Finding]:
    return [f for f in judge(flights, aircraft=CRAFT).findings if f.code == "pack-weak"]


def scattered(seed: int, true: np.ndarray, sd: float = 0.04) -> np.ndarray:
    return np.asarray(true * np.exp(sd * np.random.default_rng(seed).standard_normal(true.size)))


def test_a_pack_that_fades_is_told_with_the_flights_that_are_left() -> None:
    """1 % of what it held a flight from flight 12 on: 80 % are left at flight 31."""
    true = 2000.0 * (1.0 - 0.01 * np.maximum(np.arange(25) - 10, 0))
    (one,) = found(book(scattered(1, true, 0.025), celsius=[20.0] * 25))
    assert (one.level, one.place, one.evidence["kind"]) == (Level.WATCH, "pack 1", "gradual")
    assert one.change is not None
    assert one.change.low < 14.0 < one.change.high
    assert one.change.limit == 20.0
    assert one.change.flights_to_limit_low is not None
    assert one.change.flights_to_limit_high is not None
    assert one.change.flights_to_limit_low <= 6 <= one.change.flights_to_limit_high
    assert one.evidence["usual_mah"] == pytest.approx(2000.0, rel=0.03)


def test_packs_that_keep_their_charge_are_no_finding() -> None:
    """However deep the flights go, though the curve that it is read on is off by a tenth."""
    for seed in range(12):
        rng = np.random.default_rng([seed, 5])
        used = 2000.0 * rng.uniform(0.3, 0.8, 40)
        mah = scattered(seed, 2000.0 * (used / 1000.0) ** 0.1)
        assert found(book(mah, used=used.tolist())) == [], seed


def test_cold_is_taken_out_where_it_is_logged_or_dated() -> None:
    """From 25 to 5 degC 12 % are lost, and come back."""
    days = [6 * k for k in range(60)]
    celsius = 15.0 + 10.0 * np.sin(2 * np.pi * np.array(days) / 365.0)
    mah = scattered(3, 2000.0 * (1.0 + 0.006 * (celsius - 15.0)))
    for end in (30, 40, 45, 50, 60):
        assert found(book(mah[:end], celsius=celsius[:end].tolist())) == []
        assert found(book(mah[:end], days=days[:end])) == []
        assert found(book(mah[:end])) == []  # winter may take so much


def test_the_set_that_fades_is_named() -> None:
    true = np.full(36, 2000.0)
    true[19::2] *= 0.75
    labels = ["red", "blue"] * 18
    (one,) = found(book(scattered(4, true), celsius=[20.0] * 36, packs=labels))
    assert one.evidence["set"] == "blue"
    assert "set 'blue' holds" in one.title


@pytest.mark.parametrize(("to", "told"), [(1.3, False), (2.0, True)])
def test_without_date_and_temperature_packs_are_told_beyond_a_winter(to: float, told: bool) -> None:
    """Both packs alike, from flight 9 to 20: 30 % is what cold days take, twice is not."""
    pair = Aircraft(name="Tern (invented)", bus="bus", packs=(Pack(name="one"), Pack(name="two")))
    rng = np.random.default_rng(8)
    grown = 33.0 * np.interp(np.arange(20), [8, 15], [1.0, to])

    def flight(k: int) -> Measures:
        mohm = {p: grown[k] * float(np.exp(0.1 * rng.standard_normal())) for p in ("one", "two")}
        rows = [
            Measure(
                place=p, feature="source_mohm", value=x, unit="mOhm", low=0.85 * x, high=1.15 * x
            )
            for p, x in mohm.items()
        ]
        return replace(book([2000.0])[0], features=tuple(rows))

    findings = judge([flight(k) for k in range(20)], aircraft=pair).findings
    rising = [f for f in findings if f.code == "source-resistance-rising"]
    assert [(f.level, f.also) for f in rising] == ([(Level.WATCH, ("two",))] if told else [])


@needs_data
@pytest.mark.parametrize("cell", ["B0005", "B0006"])
def test_measured_cells_fade_and_their_end_is_foretold(cell: str) -> None:
    """B. Saha, K. Goebel (2007), Battery Data Set, NASA Prognostics Data Repository: every second
    discharge of a cell of 2 Ah, as if a flight had told its capacity, until 80 % are left of what
    the first ten gave.
    """
    with AGEING.open(encoding="utf-8-sig", newline="") as file:
        rows = [float(r["Capacity(Ah)"]) for r in csv.DictReader(file) if r["SampleId"] == cell]
    mah = 1000.0 * np.array(rows[::2])
    end = int(np.flatnonzero(mah < 0.8 * mah[:10].mean())[0])
    assert found(book(mah[:10], celsius=[24.0] * 10)) == []
    held = []
    for n in range(14, end, 2):
        for one in found(book(mah[:n], celsius=[24.0] * n)):
            assert one.change is not None
            low, high = one.change.flights_to_limit_low, one.change.flights_to_limit_high
            held += [] if low is None or high is None else [low <= end - n + 1 <= high]
    # Of one life, whose predictions hang together.
    assert held[0]
    assert np.mean(held) >= 0.5
